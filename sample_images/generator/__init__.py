"""Photographs of manometers drawn by ray optics, with exact truth beside each.

Physics
-------
Everything is computed in linear light; millimetres; x to the right, y up along the
tubes, z out of the board towards the camera, z = 0 at the face of the board.

* Tubes: concentric circular cylinders (outer and inner radius), intersected analytically.
  A U-bend is the same pair of radii about a half circle, found by sphere tracing.
  Snell's law at every interface; unpolarised Fresnel reflectance; total internal
  reflection; both children of an interface are followed until their weight falls below
  ``optics.CULL_WEIGHT``. Nothing else is done to make glass look like glass: side bands,
  flipped background, highlights of windows follow from this.
* Liquids: Beer-Lambert absorption exp(-a s) per colour channel along the path s in the
  liquid. Dyes are absorbing, not scattering.
* Menisci: surfaces of revolution that solve the Young-Laplace equation in a circular tube
  with a given contact angle (concave where wetting, convex for mercury), between two
  liquids as well. In an inclined tube the first-order tilt (the cos(phi) mode of the
  linearised equation) is added. The truth level is the apex on the tube's axis.
* Mercury: opaque mirror with the reflectance of glass on mercury or air on mercury,
  reflecting the board and a room (windows, lamps, walls, the photographer's silhouette).
* Board, strips, clips, caps, blocks: Lambertian with a weak glossy lobe, lit by the lamps of
  that same room; soft shadows by projecting silhouettes along the light with a penumbra
  proportional to height. The shadow of a tube is its caustic: rays from each light are
  traced through the cross-section and binned on the board, in colour.
* Camera: pinhole with one radial distortion coefficient, rays traced for the distorted
  pixel grid (no resampling); 2 x 2 samples a pixel on
  boards, a lattice of 3 on glass, of 5 near levels.
* Phone: lens blur, defocus, motion, lateral colour, veil, vignetting, photon and read
  noise on a colour mosaic, demosaicing, noise reduction, tone curve, sharpening, JPEG,
  EXIF (:mod:`sample_images.generator.phone`).

Left out, knowingly: light scattered from one surface to another; one tube seen through
another; polarisation; dispersion; films and drops on the wall above the liquid.

Run ``python -m sample_images.generator --help``.
"""

"""Path-traced photographs of manometers of random looks, with exact truth beside each.

Beside :mod:`sample_images.generator`, which draws by ray optics of its own, this one follows
light from surface to surface, by a general renderer (Mitsuba 3, the extra ``trace``): metal
and wood, light through coloured liquid onto the board, rooms that light from all sides. The
level network has learnt from photographs of it (DEVELOPERS.md, The level network).

Physics
-------
Millimetres; x to the right, y up the tubes, z out of the board, z = 0 at its face. Light is
linear and in three channels.

* Light: Monte Carlo integration of the rendering equation (Kajiya 1986) along paths from
  the camera, with emitter sampling (:mod:`.integrator`). All light comes from an
  environment map: a room with windows, lamps, sky, the photographer's silhouette. How its
  surfaces look is our own choice.
* Glass and liquids: smooth dielectric boundaries by Snell and Fresnel, unpolarised. Each has
  its own mesh: outside of the tube, bore where each fluid fills it, surfaces between fluids.
  Refractive indices, densities and tensions are recalled from memory, rounded
  (:mod:`.liquids`).
* Colour of liquids: Beer-Lambert absorption exp(-a s) in each channel. Dyes absorb and do not
  scatter; their coefficients are our own choice.
* Menisci: Young (1805) and Laplace (1806) in arc length, from memory, for every interface;
  in inclined tubes the first-order tilt is added (:mod:`.meniscus`). The truth is the apex on
  the tube's axis. Bubbles that break a column are made nearly round: no gravity.
* Mercury: a mirror; its reflectance in glass and bare from memory.
* Everything else: Lambertian, or with facets distributed by GGX (Walter and others 2007), as
  plastic or as metal; roughnesses are common practice, no source.
* Camera: thin lens with a finite aperture; one radial coefficient, applied to the picture
  afterwards (:mod:`.camera`).
* Phone: blur, motion, vignetting, veil, noise on a colour mosaic, demosaicing, noise
  reduction, tone curve, sharpening, JPEG, EXIF (:mod:`.phone`); common practice, no source.

Left out, knowingly: dispersion; polarisation; films and drops on the wall above the liquid;
scattering liquids; rolling shutter. Light that reaches a surface only through glass is met
by chance alone, so caustics are grainy where samples are few.

What is random
--------------
Looks, sizes and rooms are drawn from ranges of our own choice, in an order that a seed's
photograph depends on. A seed has a class (:mod:`.kinds`): one in nine must not be read. The
same seed, class, size and list of fonts make the same scene and the same truth; grain
depends on how many samples the machine takes in the time it is given.

Run ``python -m sample_images.path_tracer --help``.
"""

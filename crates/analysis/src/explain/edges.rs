//! Sharpness and blur.

use super::{Explanation, measure};

/// Word, unit, meaning, method, source, next time.
#[rustfmt::skip]
pub(super) const EDGES: &[Explanation] = &[
    measure(
        "sharpness.edges", "",
        "Edges that passed every test.",
        "Straight, unclipped, uncrowded edges from many scales and directions.",
        "own derivation (docs/measures.md)",
        "",
    ),
    measure(
        "sharpness.edge_rise_px", "px",
        "Width of the sharpest edges: the smaller, the sharper. About 1.5 to 2 px is as good as lens and pixel get.",
        "10-90 % rise of the sharpest quarter of the edges on the raw mosaic, pixel included; no sharpening.",
        "edge spread as in ISO 12233; natural edges: van Zwanenberg et al. (from memory)",
        "`explain soft`, `explain shaken`.",
    ),
    measure(
        "sharpness.edge_rise_spread_px", "px",
        "How sure the rise is.",
        "Standard error of edge_rise_px: the scatter of the edges, and what noise hides beside all of them.",
        "own derivation (docs/measures.md)",
        "",
    ),
    measure(
        "sharpness.mtf50_cy_px", "cycles/px",
        "Fineness at which half of the contrast is left.",
        "From the fitted edge.",
        "ISO 12233 closed forms (docs/measures.md)",
        "",
    ),
    measure(
        "sharpness.mtf10_cy_px", "cycles/px",
        "Fineness at which a tenth of the contrast is left: the end of visible detail.",
        "From the fitted edge.",
        "ISO 12233 closed forms (docs/measures.md)",
        "",
    ),
    measure(
        "sharpness.mtf50_lp_mm", "lp/mm",
        "The same on the sensor: compares lenses across cameras.",
        "mtf50_cy_px over the pixel pitch.",
        "ISO 12233",
        "",
    ),
    measure(
        "sharpness.rise_by_direction_px", "px",
        "Edge width by direction: an uneven ring points to motion.",
        "Rise in 12 bins of 15 degrees of the edge normal.",
        "own derivation (docs/measures.md)",
        "",
    ),
    measure(
        "sharpness.map", "px",
        "Edge width over the frame: where the focus lies.",
        "Rise in each tile; null where it has too few edges.",
        "own derivation (docs/measures.md)",
        "",
    ),
    measure(
        "sharpness.noise_limited", "",
        "True where noise, not blur, limits what can be told.",
        "Edges too weak for their noise.",
        "own derivation (docs/measures.md)",
        "",
    ),
    measure(
        "sharpness.sharpest_at_px", "px",
        "Where the sharpest measured edge lies, column and row of the full frame.",
        "See sharpness.edge_rise_px.",
        "own derivation (docs/measures.md)",
        "",
    ),
    measure(
        "sharpness.softest_at_px", "px",
        "Where the least sharp measured edge lies.",
        "See sharpness.edge_rise_px.",
        "own derivation (docs/measures.md)",
        "",
    ),
    measure(
        "blur.kind", "",
        "What blurred the frame: none, defocus, motion, mixed or undetermined.",
        "Even widening is defocus, widening along one direction is motion; diffraction is taken out.",
        "own derivation (docs/measures.md)",
        "",
    ),
    measure(
        "blur.motion_px", "px",
        "How far the picture moved during the exposure.",
        "Variance of the edges by direction: s2 = a + b cos 2(theta - phi), length sqrt(24 b).",
        "closed form of uniform motion (docs/measures.md)",
        "`explain shaken`.",
    ),
    measure(
        "blur.motion_deg", "degrees",
        "Direction of the motion, anticlockwise from the frame's horizontal as stored.",
        "phi of the same fit.",
        "closed form of uniform motion (docs/measures.md)",
        "Near 90: the press on the release, or mirror slap. Near 0: a swing of the body.",
    ),
    measure(
        "blur.defocus_px", "px",
        "Radius of the blur disc of missed focus.",
        "Variance r^2/4 beyond lens and pixel.",
        "closed form of the disc (docs/measures.md)",
        "Focus on the enlarged live view.",
    ),
    measure(
        "blur.expected_diffraction_px", "px",
        "Edge width that diffraction alone gives at this f-number.",
        "1.33287 x 0.55 um x f-number over the pixel pitch.",
        "closed form of the diffraction edge",
        "`explain diffracted`.",
    ),
    measure(
        "blur.confidence", "0..1",
        "How sure the kind of blur is.",
        "From the evidence for the kind, the number of edges, and whether edges and spectrum agree. In simulated frames 99 of \
         100 kinds named with 0.8 or more were right, 86 of 100 of those below.",
        "own derivation (docs/measures.md)",
        "",
    ),
    measure(
        "blur.motion_tiles_pct", "%",
        "Part of the frame that shows the motion: near 100 the camera moved, few a subject.",
        "Tiles with edges that show it over tiles with edges.",
        "own derivation (docs/measures.md)",
        "",
    ),
];

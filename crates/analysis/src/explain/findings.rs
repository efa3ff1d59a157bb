//! The finding codes.

use super::{Explanation, Kind};

const PRACTICE: &str = "common practice, no source";

pub(super) const FINDINGS: &[Explanation] = &[
    Explanation {
        word: "blown",
        kind: Kind::Finding,
        unit: "% of the picture, or cm2 on the paper",
        means: "Highlights reached the level at which the sensor clips: paper white without texture. Where one colour \
                alone clips, hue shifts and some tone is left.",
        how: "Connected areas of clipped pixels, as large as they come out on the paper. Spots up to the brief's \
              specular_spot_mm are specular highlights and do not count. The frame fails only where a second colour \
              clips too; one colour alone is borderline at the most. A light source or its reflection is a note: a \
              second colour clips in less than half of it, its surroundings lie 0.6 EV or more below saturation, and it \
              is a disc or the part of one above a horizon (1 % of the picture at the most) or a glint (0.05 %).",
        source: "areas: own derivation (docs/measures.md, Print and verdict); limits: common practice, no source",
        next_time: "What the finding says: less exposure where the picture as a whole was over (a bracket where so much \
                    clips that it cannot be told how far), else a bracket for the patch that must hold texture.",
    },
    Explanation {
        word: "blocked",
        kind: Kind::Finding,
        unit: "% of the picture",
        means: "Shadows at the sensor's floor: no detail to lift. No fault where deep black is meant.",
        how: "Samples at or below black plus one read noise, over all planes, of the frame or the crop.",
        source: "own derivation (docs/measures.md); limits: common practice, no source",
        next_time: "Expose brighter where the highlights have room, else bracket or fill the shadows with light.",
    },
    Explanation {
        word: "noisy",
        kind: Kind::Finding,
        unit: "ratio",
        means: "Grain shows in even mid-tones of the print, as metered or once a dark frame is lifted.",
        how: "Signal-to-noise of one pixel at 12.7 % of saturation (in a dark frame: of the tone that developing lifts to \
              there, exposure.lift_ev), times the root of the pixels that fall into the square which the eye resolves at \
              the viewing distance. As the picture may be meant dark, a lift makes the frame borderline; it fails by what \
              is over 2 EV of it, since no print is so dark that its lightest tones are greys. A note: 1 EV or more under, \
              and clean enough.",
        source: "averaging: photon statistics (EMVA 1288); 40 : 1 is the excellent, 10 : 1 the acceptable picture of \
                 ISO 12232's noise-based speeds (from memory)",
        next_time: "Lower ISO with more light, or merge several frames of a still subject; in a dark frame: expose as bright as \
                    the highlights allow.",
    },
    Explanation {
        word: "banded",
        kind: Kind::Finding,
        unit: "ratio",
        means: "Lines across or down the dark tones once shadows are lifted; the eye finds them below the grain.",
        how: "Standard deviation of row or column offsets over the noise in the frame's darkest tones, both averaged \
              over what the eye resolves: bands fall slower than grain.",
        source: "averaging: own derivation; visible above a tenth of the noise: common practice, no source",
        next_time: "Expose brighter, lift shadows less, mechanical shutter, lower ISO; make a proof of the shadows.",
    },
    Explanation {
        word: "soft",
        kind: Kind::Finding,
        unit: "eye limits (one minute of arc at the viewing distance)",
        means: "Edges are too wide on the paper: missed focus or the lens; the sentence says which. A frame that is sharp \
                pixel by pixel (2 px and less) is never soft: it has too few pixels for the print.",
        how: "10-90 % edge rise of the sharpest quarter of the edges (of the crop), in mm on the paper, over what the \
              eye resolves. 1.5 leaves 66 % of the contrast at 15 cycles per degree, 3.0 leaves 18 %.",
        source: "edge rise: ISO 12233 in spirit; contrast: closed form of a Gaussian edge (docs/measures.md)",
        next_time: "What the finding says, by the cause: focus on the enlarged live view; for the lens two to three stops down from \
                    wide open; open up where diffraction makes a good part.",
    },
    Explanation {
        word: "shaken",
        kind: Kind::Finding,
        unit: "eye limits (one minute of arc at the viewing distance)",
        means: "Camera or subject moved by more than the eye forgives on the paper.",
        how: "Length of the motion from the rise of edges in every direction, in mm on the paper, over what the eye \
              resolves. 1.9 leaves 67 % of the contrast at 15 cycles per degree along the motion, 3.4 leaves 17 %.",
        source: "directional variance: own derivation (docs/measures.md); contrast: closed form of uniform motion",
        next_time: "In the hand the shutter speed that the finding names; on a tripod the column down, and mirror lock-up \
                    where the time falls into the vibration band.",
    },
    Explanation {
        word: "diffracted",
        kind: Kind::Finding,
        unit: "eye limits (one minute of arc at the viewing distance)",
        means: "The f-stop is closed past the point for this pixel pitch and print: the lens cannot be sharp there.",
        how: "Rise of a perfect lens, 1.33287 x 0.55 um x f-number, on the paper. It is the cause only where the \
              measured edges are as wide as predicted and it makes most of their variance; else it is a note, and no word \
              where the frame is sharp pixel by pixel.",
        source: "closed form of the diffraction edge; Airy diameter 2.44 w N",
        next_time: "Open up to the f-stop that the finding names; stack focus where depth is needed.",
    },
    Explanation {
        word: "slow-shutter",
        kind: Kind::Finding,
        unit: "s",
        means: "The shutter was slower than the hand holds with this lens. With a sharp frame it is a note.",
        how: "Exposure time over 1/(k x 35 mm equivalent focal length); k is the brief's shutter_rule. It takes the \
              severity of the shake that was measured, and is a note where none was.",
        source: PRACTICE,
        next_time: "The shutter speed that the finding names in the hand, else a tripod and a remote release.",
    },
    Explanation {
        word: "vibration-band",
        kind: Kind::Finding,
        unit: "s",
        means: "At about 1/2 to 1/4 s mirror and shutter shake the camera for much of the exposure, even on a tripod; \
                worse with longer lenses. With a sharp frame it is a note.",
        how: "Exposure time within the brief's band and 35 mm equivalent focal length from the brief's least on. It \
              takes the severity of the shake that was measured, and is a note where none was.",
        source: PRACTICE,
        next_time: "Mirror lock-up or live view with a delay, electronic first curtain or leaf shutter, column down.",
    },
    Explanation {
        word: "too-few-pixels",
        kind: Kind::Finding,
        unit: "ppi",
        means: "After crop and fit the print has fewer picture pixels per inch than the brief wants.",
        how: "Picture pixels over inches along the edge that fills the paper; never stretched. Below ppi_wanted it is \
              borderline, below ppi_least it fails.",
        source: "usual print resolutions 180 to 360 ppi: common practice, no source; one minute of arc at distance d: \
                 3438 / d(in) ppi",
        next_time: "Crop less, go closer, stitch, or print smaller.",
    },
    Explanation {
        word: "damaged",
        kind: Kind::Finding,
        unit: "",
        means: "The file was read, but part of the sensor data is missing or constant.",
        how: "Sizes and offsets of the container against the file, and large constant areas of samples.",
        source: "own derivation (docs/measures.md, Integrity)",
        next_time: "Copy the file again from the card before formatting it; check card and reader.",
    },
];

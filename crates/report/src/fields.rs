//! Every field of a scorecard: one list from which the CSV columns, docs/scorecard.schema.json and the field table
//! of docs/scorecard.md are made.

/// What a field holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A whole number.
    Integer,
    /// A number.
    Number,
    /// Text.
    Text,
    /// True or false.
    Flag,
    /// One of these words.
    Word(&'static [&'static str]),
}

/// One field.
#[derive(Debug, Clone, Copy)]
pub struct Field {
    /// Path in the JSON: members by `.`; `[]` a list, `[n]` a list of n.
    pub path: &'static str,
    /// What it holds (each item of it, for a list).
    pub kind: Kind,
    /// True where it (or an item of it) may be `null`: not measurable here.
    pub nullable: bool,
    /// What it says.
    pub text: &'static str,
}

/// An object or list that may be `null`, or needs a word of its own.
#[derive(Debug, Clone, Copy)]
pub struct Container {
    /// Path as in [`Field::path`].
    pub path: &'static str,
    /// True where it may be `null`.
    pub nullable: bool,
    /// What it holds.
    pub text: &'static str,
}

/// The objects and lists.
pub const CONTAINERS: &[Container] = &[
    container("file_id", false, "What identifies the file's content."),
    container("notes", false, "Reasons for what is null, and cautions."),
    container("decoder", true, "Which back end read the file."),
    container("shot", true, "What the camera wrote; null for an unreadable file."),
    container("channels", false, "One per plane of the filter array: 4 for a Bayer array, by row."),
    container("exposure", true, "Clipping and tonal extent of the whole picture."),
    container("noise", true, "Noise of the frame."),
    container("range", false, "Range of the frame."),
    container("sharpness", true, "Sharpness, from the frame's own edges."),
    container("sharpness.map", false, "Rise over the frame, in tiles."),
    container(
        "sharpness.sharpest_at_px",
        true,
        "Where the sharpest measured edge lies: column, row of the full frame.",
    ),
    container(
        "sharpness.softest_at_px",
        true,
        "Where the least sharp measured edge lies: column, row of the full frame.",
    ),
    container("blur", true, "What blurred the frame."),
    container("print", false, "The frame at the brief's size."),
    container(
        "print.largest",
        true,
        "The largest print that the frame honestly makes; null also where highlights, shadows, bands or damage fail at every size up to that.",
    ),
    container(
        "print.largest_with_proof",
        true,
        "The largest print that does not fail: between the two, make a proof print.",
    ),
    container(
        "print.if_accepted",
        true,
        "The largest print by size alone, where highlights, shadows or bands that fail keep it smaller or rule it out; null where nothing has to be accepted.",
    ),
    container("verdict", false, "The verdict for the brief."),
    container("verdict.findings", false, "What was found, worst first."),
];

const fn container(path: &'static str, nullable: bool, text: &'static str) -> Container {
    Container { path, nullable, text }
}

const fn known(path: &'static str, kind: Kind, text: &'static str) -> Field {
    Field { path, kind, nullable: false, text }
}

const fn maybe(path: &'static str, kind: Kind, text: &'static str) -> Field {
    Field { path, kind, nullable: true, text }
}

use Kind::{Flag, Integer, Number, Text, Word};

/// The fields, in the order of the JSON.
pub const FIELDS: &[Field] = &[
    known("schema", Integer, "Version of these fields: 1. Rises when a field changes its name, unit or meaning."),
    known("file", Text, "Path as given. Bytes of a name that are no text are shown as U+FFFD."),
    known("file_id.size", Integer, "Size of the file, bytes."),
    maybe("file_id.mtime", Text, "When the file was last changed, RFC 3339 in UTC."),
    known(
        "file_id.hash",
        Text,
        "BLAKE3 over the size and blocks spread over the file, hexadecimal; survives renaming. Empty where the file could not be read.",
    ),
    known(
        "status",
        Word(&["measured", "damaged", "unreadable"]),
        "measured; damaged: decoded, but part of the sensor data is missing or constant; unreadable: not decoded.",
    ),
    maybe("error", Text, "Why it is damaged or unreadable, one line."),
    known("notes[]", Text, "One reason or caution."),
    known("decoder.name", Text, "Name of the back end."),
    known("decoder.version", Text, "Its version."),
    maybe("shot.make", Text, "Camera maker."),
    maybe("shot.model", Text, "Camera model."),
    maybe("shot.lens", Text, "Lens model."),
    maybe("shot.serial", Text, "Body serial number."),
    maybe("shot.iso", Number, "ISO (Exif PhotographicSensitivity)."),
    maybe("shot.shutter_s", Number, "Exposure time, seconds."),
    maybe("shot.f_number", Number, "f-number."),
    maybe("shot.focal_mm", Number, "Focal length, mm."),
    maybe(
        "shot.focal35_mm",
        Number,
        "Focal length of the same view on 36 x 24 mm, mm: as stated, else from pitch and frame size.",
    ),
    maybe("shot.exposure_bias_ev", Number, "Exposure compensation, EV."),
    maybe("shot.taken_at", Text, "When it was taken, RFC 3339; without an offset it is the camera's local time."),
    known("shot.orientation", Integer, "Exif orientation, 1 to 8."),
    known("shot.width_px", Integer, "Columns of the picture (active area)."),
    known("shot.height_px", Integer, "Rows of the picture (active area)."),
    known("shot.cfa", Text, "Filter array: RGGB, GBRG, ... by row; xtrans (6x6), mono, linear."),
    maybe("shot.pixel_pitch_um", Number, "Pixel pitch, micrometres."),
    maybe("shot.pitch_from", Word(&["focal-plane-resolution", "focal35"]), "Where the pitch comes from."),
    known("channels[].name", Text, "Plane: R, G1, G2, B, or as the filter says."),
    known("channels[].black_dn", Number, "Black level, DN as stored."),
    known("channels[].black_from", Word(&["declared", "masked"]), "Where the black level comes from."),
    known("channels[].white_declared_dn", Number, "White level that the file states, DN as stored."),
    known("channels[].saturation_dn", Number, "Level at which this plane clips, DN as stored."),
    known(
        "channels[].saturation_from",
        Word(&["observed", "declared"]),
        "Where the saturation level comes from: a pile-up in this frame, or the file.",
    ),
    known("channels[].clipped_pct", Number, "Samples at saturation, per cent of the plane."),
    maybe("channels[].floor_pct", Number, "Samples at or below black + one read noise, per cent of the plane."),
    maybe("channels[].headroom_ev", Number, "log2 of saturation over the 99.9 percentile, EV."),
    maybe("channels[].median_ev", Number, "How far the median lies below saturation, EV."),
    maybe("channels[].gain_e_per_dn", Number, "Electrons per DN."),
    maybe("channels[].read_noise_dn", Number, "Read noise, DN."),
    maybe("channels[].read_noise_e", Number, "Read noise, electrons."),
    maybe("channels[].full_well_e", Number, "Electrons at saturation."),
    maybe("channels[].snr_midtone_db", Number, "Signal-to-noise of one pixel at 12.7 % of saturation, dB."),
    known("exposure.clipped_any_pct", Number, "Pixels where any plane is clipped, per cent of the picture."),
    known("exposure.clipped_all_pct", Number, "Pixels where all planes are clipped, per cent."),
    known("exposure.largest_clipped_area_pct", Number, "Largest connected clipped area, per cent of the picture."),
    known("exposure.clipped_area_count", Integer, "Connected clipped areas."),
    maybe("exposure.floor_pct", Number, "Samples at the floor, per cent over all planes."),
    maybe("exposure.headroom_ev", Number, "Least headroom of the planes, EV."),
    maybe("exposure.scene_range_ev", Number, "log2 of the 99.5 over the 0.5 percentile of green, EV."),
    maybe(
        "exposure.darkest_ev",
        Number,
        "How far the 0.5 percentile of green lies below saturation, EV; at the least, where a note says so.",
    ),
    maybe(
        "exposure.brighter_by_ev",
        Number,
        "How much brighter the frame could have been exposed before more than specular spots clip, EV; negative where overexposed (an estimate), unknown where nothing tells how far.",
    ),
    maybe(
        "exposure.lift_ev",
        Number,
        "How far developing lifts the frame to the brightness of a metered one, EV; 0 where it is bright enough.",
    ),
    known("noise.flat_patches", Integer, "Flat patches that the fit of variance against mean used."),
    maybe("noise.model_r2", Number, "Coefficient of determination of that fit, 0 to 1."),
    maybe("noise.read_noise_dn", Number, "Read noise of green (or the only plane), DN."),
    maybe("noise.gain_e_per_dn", Number, "Gain of green (or the only plane), electrons per DN."),
    maybe("noise.picture_read_noise_dn", Number, "Read noise from the dark tones of the picture itself, DN."),
    maybe("noise.masked_read_noise_dn", Number, "Read noise from the masked pixels, DN."),
    maybe("noise.row_banding_dn", Number, "Standard deviation of row offsets, DN."),
    maybe("noise.column_banding_dn", Number, "Standard deviation of column offsets, DN."),
    maybe(
        "noise.hot_pixels",
        Integer,
        "Pixels that stand alone, eight standard deviations of the noise above what surrounds them; those that structure hides are reckoned in.",
    ),
    maybe("noise.snr_midtone_db", Number, "Signal-to-noise of one green pixel at 12.7 % of saturation, dB."),
    maybe(
        "noise.snr_lifted_db",
        Number,
        "The same of the tone that becomes the mid-tone once the frame is lifted by exposure.lift_ev, dB.",
    ),
    maybe("range.engineering_ev", Number, "log2 of saturation over read noise, EV."),
    maybe(
        "range.usable_ev",
        Number,
        "Saturation to the tone where signal-to-noise meets snr_limit at the brief's print scale, EV.",
    ),
    maybe(
        "range.shadow_room_ev",
        Number,
        "How far the scene's darkest tones (exposure.darkest_ev) lie inside usable_ev, EV; negative: below it, hidden by noise.",
    ),
    known("range.snr_limit", Number, "That limit, ratio."),
    known("sharpness.edges", Integer, "Edges that passed every test."),
    maybe("sharpness.edge_rise_px", Number, "10-90 % edge rise of the sharpest quarter, pixel included, pixels."),
    maybe("sharpness.edge_rise_spread_px", Number, "Standard error of that value, pixels."),
    maybe("sharpness.mtf50_cy_px", Number, "Spatial frequency at 50 % contrast, cycles per pixel."),
    maybe("sharpness.mtf10_cy_px", Number, "Spatial frequency at 10 % contrast, cycles per pixel."),
    maybe("sharpness.mtf50_lp_mm", Number, "Line pairs per mm on the sensor at 50 % contrast."),
    maybe(
        "sharpness.rise_by_direction_px[12]",
        Number,
        "Rise by direction of the edge normal, 12 bins of 15 degrees from 0, pixels.",
    ),
    known("sharpness.map.cols", Integer, "Tiles across."),
    known("sharpness.map.rows", Integer, "Tiles down."),
    maybe("sharpness.map.rise_px[]", Number, "Rise in each tile, by row from the top left of the picture, pixels."),
    known("sharpness.noise_limited", Flag, "True where noise, not blur, limits what can be told."),
    known("sharpness.sharpest_at_px[2]", Integer, "Column, then row."),
    known("sharpness.softest_at_px[2]", Integer, "Column, then row."),
    known("blur.kind", Word(&["none", "defocus", "motion", "mixed", "undetermined"]), "What blurred the frame."),
    maybe("blur.motion_px", Number, "Length of the motion, pixels; null also where the kind says that there is none."),
    maybe(
        "blur.motion_deg",
        Number,
        "Direction of the motion, degrees anticlockwise from the horizontal axis of the frame as stored, 0 to 180.",
    ),
    maybe(
        "blur.defocus_px",
        Number,
        "Radius of the defocus disc, pixels; null also where the kind says that there is none.",
    ),
    maybe(
        "blur.expected_diffraction_px",
        Number,
        "Rise that diffraction alone would give at this f-number and pitch, pixels.",
    ),
    known("blur.confidence", Number, "Confidence in the kind, 0 to 1."),
    maybe(
        "blur.motion_tiles_pct",
        Number,
        "Tiles with edges that show the motion, per cent: near 100 for a shaken camera.",
    ),
    maybe("print.ppi", Number, "Pixels per inch after crop and fit."),
    maybe("print.rise_mm", Number, "Edge rise on the paper, mm."),
    maybe("print.motion_mm", Number, "Motion on the paper, mm; 0 where none was found."),
    maybe("print.snr_midtone", Number, "Mid-tone signal-to-noise after averaging over what the eye resolves, ratio."),
    maybe(
        "print.snr_lifted",
        Number,
        "The same once the frame is lifted to a normal brightness (exposure.lift_ev); the brief's borderline limit is held against this, its fails limit against the ratio at a lift of 2 EV less.",
    ),
    maybe("print.eye_limit_mm", Number, "What the eye resolves at the brief's distance (one minute of arc), mm."),
    maybe(
        "print.finest_mm",
        Number,
        "The finest that is seen, mm: the eye's limit, or the screen's pixel where that is larger.",
    ),
    known("print.largest.width_in", Number, "Width of the largest honest print, upright, inches."),
    known("print.largest.height_in", Number, "Its height, inches."),
    known("print.largest.ppi", Number, "Pixels per inch at that size."),
    known("print.largest.limited_by", Text, "What limits it first: pixels, sharpness, motion, noise, highlights."),
    known("print.largest_with_proof.width_in", Number, "Its width, upright, inches."),
    known("print.largest_with_proof.height_in", Number, "Its height, inches."),
    known("print.largest_with_proof.ppi", Number, "Pixels per inch at that size."),
    known("print.largest_with_proof.limited_by", Text, "What limits it first."),
    known("print.if_accepted.what", Text, "What must be accepted for it: highlights, shadows, banding."),
    known("print.if_accepted.width_in", Number, "Its width, upright, inches."),
    known("print.if_accepted.height_in", Number, "Its height, inches."),
    known("print.if_accepted.ppi", Number, "Pixels per inch at that size."),
    known("verdict.brief", Text, "Name of the brief."),
    known(
        "verdict.outcome",
        Word(&["prints", "borderline", "fails", "unmeasured"]),
        "Good enough for the brief; at its limit (make a proof print); not good enough; what the brief needs could not be measured.",
    ),
    known(
        "verdict.findings[].code",
        Word(&[
            "blown",
            "blocked",
            "noisy",
            "banded",
            "soft",
            "shaken",
            "diffracted",
            "slow-shutter",
            "vibration-band",
            "too-few-pixels",
            "damaged",
        ]),
        "What was found (`rawassay explain CODE`).",
    ),
    known(
        "verdict.findings[].severity",
        Word(&["note", "borderline", "fails"]),
        "How bad for this brief; a note does not change the outcome.",
    ),
    maybe("verdict.findings[].measured", Number, "Measured value."),
    maybe("verdict.findings[].limit", Number, "The limit it is held against."),
    known("verdict.findings[].unit", Text, "Unit of both."),
    known("verdict.findings[].text", Text, "One plain sentence."),
    known("verdict.findings[].remedy", Text, "One remedy for next time."),
    known("verdict.not_measured[]", Text, "One thing that could not be measured."),
];

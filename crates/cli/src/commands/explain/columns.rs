//! Columns that commands beside the scorecard write: what each holds.

/// A column of a command's CSV (and a field of its JSON of the same name).
pub(super) struct Column {
    /// The commands that write it.
    pub(super) of: &'static str,
    pub(super) name: &'static str,
    /// Its unit; empty where it has none.
    pub(super) unit: &'static str,
    pub(super) text: &'static str,
}

const fn column(of: &'static str, name: &'static str, unit: &'static str, text: &'static str) -> Column {
    Column { of, name, unit, text }
}

#[rustfmt::skip]
const ALL: &[Column] = &[
    column("the scorecard's CSV", "verdict_main_finding", "", "Code of the worst finding; in a frame that prints it is a note, which changes nothing."),
    column("the scorecard's CSV", "verdict_main_remedy", "", "What to do next time about the worst finding."),
    column("edge", "region", "px", "Where the edge was measured, as --region takes it: columns x rows + first column + first row, as stored."),
    column("edge", "plane", "", "Filter colour of the samples; G holds both greens."),
    column("edge", "angle_deg", "degrees", "Direction of the edge, anticlockwise from the rows."),
    column("edge", "length_px", "px", "Length of the edge that was used."),
    column("edge", "f_cy_px", "cycles per pixel", "Frequency of a point of the curve; its contrast stands in mtf."),
    column("sensor", "gain_se_e_per_dn", "e-/DN", "Standard error of the gain."),
    column("sensor", "read_noise_se_e", "e-", "Standard error of the read noise."),
    column("sensor", "read_noise_se_dn", "DN", "Standard error of the read noise."),
    column("sensor", "full_well_se_e", "e-", "Standard error of the full well: that of the gain alone."),
    column("sensor", "engineering_se_ev", "EV", "Standard error of the engineering range."),
    column("sensor", "fit_r2", "0 to 1", "Coefficient of determination of the line of variance over mean."),
    column("sensor", "dark_dn", "DN absolute", "Mean level of the dark frames."),
    column("sensor", "saturation_from", "", "Where saturation is from: observed, by the other planes (neighbours), declared or unknown."),
    column("sensor", "snr_max_db", "dB", "Signal-to-noise at saturation."),
    column("sensor", "linearity_error_pct", "%", "Mean deviation of the level from a line over exposure time; empty where the lamp was changed instead of the shutter."),
    column("sensor", "dsnu_e", "e-", "Spread of the photosites' dark level (DSNU), rows and columns included; empty: less than the frames tell from noise."),
    column("sensor", "dsnu_se_e", "e-", "Standard error of dsnu_e."),
    column("sensor", "dsnu_row_e", "e-", "The part of the spread of the dark level that whole rows share."),
    column("sensor", "dsnu_column_e", "e-", "The part of the spread of the dark level that whole columns share."),
    column("sensor", "prnu_pct", "% of the mean", "Spread of the photosites' sensitivity near half of saturation (PRNU)."),
    column("sensor", "prnu_se_pct", "% of the mean", "Standard error of prnu_pct."),
    column("sensor", "glow_e", "e-", "Rise of the dark frames' level at the rim over the middle (amplifier glow); empty: none seen."),
    column("sensor", "flat_pairs", "pairs", "Pairs of flats that were measured."),
    column("sensor", "dark_pairs", "pairs", "Pairs of dark frames that were measured."),
    column("enlarge", "paper", "", "The size of the rung: its name, or width x height."),
    column("enlarge", "distance_mm", "mm", "Distance from which it is seen."),
    column("enlarge", "asks_width_px", "px", "Picture pixels across that the wanted resolution asks for at this size."),
    column("enlarge", "asks_height_px", "px", "Picture pixels down that the wanted resolution asks for at this size."),
    column("enlarge", "edges_ask_width_px", "px", "Picture pixels across at which edges as sharp, pixel by pixel, as this frame's are as fine on the paper as the brief allows; empty where the frame is not sharp pixel by pixel. Where it is more than asks_width_px, it is what the size is held against."),
    column("enlarge", "edges_ask_height_px", "px", "The same down."),
    column("enlarge", "asks_rise_mm", "mm", "Widest edge on the paper that the brief allows at this distance before a proof print is due."),
    column("enlarge", "asks_motion_mm", "mm", "Longest motion on the paper that the brief allows at this distance before a proof print is due."),
    column("cull", "findings", "", "Codes of the findings that count, borderline or worse, worst first: those that --finding asks for."),
    column("cull", "findings_noted", "", "Codes of the findings that are notes: they change nothing."),
    column("cull", "done", "", "What was done with the file, or would be with --dry-run; empty where it was left alone."),
    column("cull", "to", "", "Files written, with | between them."),
    column("cull", "note", "", "Why the file was left alone, or what to know of it."),
    column("sets", "set", "", "Number of the burst or bracket, in the order of the shoot."),
    column("sets", "rank", "", "Place of the frame in its burst, from 1, the best, on; empty in a bracket."),
    column("sets", "ev_step", "EV", "Exposure against the middle frame of the bracket, or the one without exposure bias; empty in a burst."),
    column("sets", "blur_px", "px", "Blur over all directions, motion included (10-90 % rise): what the ranking goes by; no less than sharpness_edge_rise_px, which is that of the sharpest edges."),
    column("sets", "print_blur_mm", "mm", "The same on the paper."),
    column("sets", "holds_highlights", "yes or no", "Whether the frame of the bracket holds the highlights: the brief finds none of them blown."),
    column("sets", "holds_shadows", "yes or no", "Whether the frame of the bracket holds the shadows: the brief finds none of them blocked, and the darkest tones lie above the noise; empty where that noise was not measured."),
    column("sets", "merge", "yes, no or alone", "One of the fewest frames that hold the whole scene when merged; alone: it holds the scene by itself, and nothing is merged."),
    column("sets", "merged_range_ev", "EV", "From saturation in the darkest of the frames to merge (or in the one that holds the scene alone) to the usable floor of the brightest."),
    column("sets", "reason", "", "Why the frame has its rank; for a bracket the answer in words."),
    column("series", "setting", "", "Setting of the step: ISO, f-number, exposure time in seconds (over all focal lengths: time x 35 mm focal length) or camera."),
    column("series", "frames", "frames", "Frames of the step or group that count."),
    column("series", "left_out", "frames", "Frames of this setting left out because something else spoiled them."),
    column("series", "meets_brief", "", "Whether the step meets the brief in what the series tests (prints, borderline, fails); empty where that cannot be told."),
    column("series", "free_of_shake_pct", "% of frames", "Share of the frames whose motion on the paper stays within the brief's borderline limit."),
    column("series", "fitted_free_pct", "% of frames", "The same share by the curve fitted through all steps."),
    column("series", "range_lost_ev_per_stop", "EV per stop", "Usable range lost since the step before, over the stops between."),
    column("series", "megapixels", "megapixels", "Picture pixels of a frame."),
    column("series", "centre_rise_px", "px", "Edge rise of the tiles within 0.35 of the half diagonal."),
    column("series", "corners_rise_px", "px", "Edge rise of the tiles beyond 0.72 of the half diagonal."),
    column("series", "largest_long_side_in", "in", "Longer side of the largest honest print."),
    column("series", "largest_short_side_in", "in", "Shorter side of the largest honest print."),
    column("series", "row_banding_over_read_noise", "ratio", "Offsets of whole rows over the read noise."),
    column("series", "print_corners_rise_mm", "mm", "Edge rise of the corners on the paper."),
    column("series", "read_noise_settles_at_iso", "", "ISO from which the read noise in electrons hardly falls any more."),
    column("series", "sharpest_f_number", "", "f-number of the least edge rise by the fitted curve, or the sharpest tested one."),
    column("series", "sharpest_f_number_centre", "", "The same for the centre alone."),
    column("series", "sharpest_f_number_corners", "", "The same for the corners alone."),
    column("series", "diffraction_costs_from_f_number", "", "f-number from which diffraction widens edges by a tenth over their least; null beyond the f-stops tested."),
    column("series", "k", "", "1/(k x 35 mm focal length) is the slowest exposure time to hold by hand; null where the frames do not tell."),
    column("series", "slowest_hand_held_s", "s", "Slowest exposure time at which the wanted share of frames (--keepers) is free of shake."),
    column("series", "keeper_share_pct", "% of frames", "The share of frames that should be free of shake (--keepers)."),
    column("series", "vibration_band_from_s", "s", "Shortest exposure time of a band in which fewer frames are free of shake than on both sides."),
    column("series", "vibration_band_to_s", "s", "Longest exposure time of that band."),
    column("series", "compared_at_iso", "", "Lowest ISO that every camera was used at; noise and range are compared there."),
];

/// Readings of `series`, each with the ends of its 90 % interval in columns of their own.
const WITH_INTERVAL: [&str; 30] = [
    "print_snr_midtone",
    "snr_midtone_db",
    "usable_ev",
    "engineering_ev",
    "read_noise_dn",
    "read_noise_e",
    "gain_e_per_dn",
    "full_well_e",
    "row_banding_over_read_noise",
    "row_banding_dn",
    "column_banding_dn",
    "range_lost_ev_per_stop",
    "edge_rise_px",
    "centre_rise_px",
    "corners_rise_px",
    "expected_diffraction_px",
    "mtf50_cy_px",
    "mtf50_lp_mm",
    "print_rise_mm",
    "print_corners_rise_mm",
    "free_of_shake_pct",
    "fitted_free_pct",
    "motion_px",
    "print_motion_mm",
    "megapixels",
    "pixel_pitch_um",
    "ppi",
    "eye_limit_mm",
    "largest_long_side_in",
    "largest_short_side_in",
];

/// The reading and which end, where the word is the end of an interval.
pub(super) fn end_of_interval(word: &str) -> Option<(&str, &'static str)> {
    let ends = [("_low", "lower"), ("_high", "upper")];
    let (of, end) = ends.iter().find_map(|(suffix, end)| Some((word.strip_suffix(suffix)?, *end)))?;
    WITH_INTERVAL.contains(&of.to_ascii_lowercase().as_str()).then_some((of, end))
}

/// What a column of this name holds, in each command that writes one.
pub(super) fn named(word: &str) -> impl Iterator<Item = &'static Column> {
    let name = word.to_ascii_lowercase();
    ALL.iter().filter(move |c| c.name == name)
}

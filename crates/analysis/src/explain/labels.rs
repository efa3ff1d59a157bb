//! What each value is called, and in which unit it is shown: one set for the terminal, the pages and `explain`.

/// Units that field names end in, the longer ones first.
const UNITS: [(&str, &str); 24] = [
    ("_e_per_dn", "e\u{207b}/DN"),
    ("_per_stop", "EV"),
    ("_cy_px", "cycles/px"),
    ("_lp_mm", "line pairs/mm"),
    ("_pct", "%"),
    ("_px", "px"),
    ("_um", "\u{b5}m"),
    ("_mm", "mm"),
    ("_cm", "cm"),
    ("_in", "in"),
    ("_ev", "EV"),
    ("_dn", "DN"),
    ("_db", "dB"),
    ("_deg", "\u{b0}"),
    ("_e", "e\u{207b}"),
    ("_s", "s"),
    ("focal35_mm", "mm"),
    ("ppi", "ppi"),
    ("_midtone", ":1"),
    ("_lifted", ":1"),
    ("snr_limit", ":1"),
    ("focal_mm", "mm"),
    ("_r2", ""),
    ("_number", ""),
];

/// Labels where the name alone says too little, or would stand twice in a table: by path, or by its last part.
const LABELS: [(&str, &str); 62] = [
    ("blur.motion_px", "length of the motion"),
    ("blur.motion_deg", "direction of the motion"),
    ("blur.motion_tiles_pct", "tiles that show the motion"),
    ("blur.defocus_px", "radius of the defocus"),
    ("expected_diffraction_px", "diffraction alone"),
    ("clipped_any_pct", "clipped area"),
    ("clipped_all_pct", "clipped in every colour"),
    ("largest_clipped_area_pct", "largest clipped patch"),
    ("clipped_area_count", "clipped patches"),
    ("exposure.floor_pct", "at the noise floor"),
    ("print.largest.ppi", "largest, resolution"),
    ("print.largest_with_proof.width_in", "with a proof print, width"),
    ("print.largest_with_proof.height_in", "with a proof print, height"),
    ("print.largest_with_proof.ppi", "with a proof print, resolution"),
    ("print.largest_with_proof.limited_by", "with a proof print, limited by"),
    ("print.ppi", "resolution on the paper"),
    ("print.rise_mm", "edge rise on the paper"),
    ("print.motion_mm", "motion on the paper"),
    ("print.snr_midtone", "mid-tone SNR on the paper"),
    ("print.snr_lifted", "SNR once lifted to a normal brightness"),
    ("snr_lifted", "SNR once lifted to a normal brightness"),
    ("snr_lifted_db", "SNR of a pixel once lifted"),
    ("exposure.lift_ev", "lift to a normal brightness"),
    ("exposure.darkest_ev", "darkest tones below saturation"),
    ("range.shadow_room_ev", "darkest tones inside the usable range"),
    ("picture_read_noise_dn", "read noise, dark tones"),
    ("masked_read_noise_dn", "read noise, masked pixels"),
    ("print.eye_limit_mm", "finest that the eye resolves"),
    ("print_rise_mm", "edge rise on the paper"),
    ("print_motion_mm", "motion on the paper"),
    ("print_snr_midtone", "mid-tone SNR on the paper"),
    ("series.ppi", "resolution on the paper"),
    ("snr_midtone_db", "mid-tone SNR of a pixel"),
    ("mtf50_cy_px", "MTF50"),
    ("mtf10_cy_px", "MTF10"),
    ("mtf50_lp_mm", "MTF50 on the sensor"),
    ("model_r2", "fit of the noise, r\u{b2}"),
    ("engineering_ev", "sensor range"),
    ("usable_ev", "usable range"),
    ("range_lost_ev_per_stop", "range lost per stop"),
    ("row_banding_over_read_noise", "row banding over read noise"),
    ("free_of_shake_pct", "free of shake"),
    ("fitted_free_pct", "free of shake by the fit"),
    ("centre_rise_px", "edge rise, centre"),
    ("corners_rise_px", "edge rise, corners"),
    ("megapixels", "megapixels"),
    ("largest_long_side_in", "largest print, long side"),
    ("largest_short_side_in", "short side"),
    ("print.largest_cm", "largest print"),
    ("focal35_mm", "focal length at 36 x 24 mm"),
    ("print.finest_mm", "finest that is seen"),
    ("print.largest", "largest print"),
    ("print.largest_with_proof", "largest with a proof print"),
    ("sharpness.map.cols", "columns of the map"),
    ("sharpness.map.rows", "rows of the map"),
    ("blur.confidence", "confidence in the kind"),
    ("range.snr_limit", "SNR asked of the darkest tones"),
    ("shot.cfa", "filter array"),
    ("shot.f_number", "f-number"),
    ("shot.focal_mm", "focal length"),
    ("shot.iso", "ISO"),
    ("shot.shutter_s", "exposure time"),
];

/// What a value is called and its unit, from its path: `sharpness.edge_rise_px` is ("edge rise", "px"). The unit is empty
/// where it has none.
#[must_use]
pub fn label(path: &str) -> (String, &'static str) {
    let mut parts = path.split('.').skip(1).collect::<Vec<_>>();
    let last = parts.pop().unwrap_or(path);
    let (stem, unit) = UNITS
        .iter()
        .find_map(|(suffix, unit)| {
            let stem = last.strip_suffix(suffix)?;
            Some((if suffix.starts_with('_') && !unit.is_empty() && *unit != ":1" { stem } else { last }, *unit))
        })
        .unwrap_or((last, ""));
    parts.push(stem);
    let named = |name: &str| LABELS.iter().find(|l| l.0 == name).map(|l| l.1.to_owned());
    (named(path).or_else(|| named(last)).unwrap_or_else(|| parts.join(" ").replace('_', " ")), unit)
}

/// Label and unit in one, as the head of a column: "edge rise, px". A ratio needs no unit there.
#[must_use]
pub fn heading(path: &str) -> String {
    match label(path) {
        (label, "" | ":1") => label,
        (label, unit) => format!("{label}, {unit}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_come_from_the_names() {
        for (path, told, unit) in [
            ("sharpness.edge_rise_px", "edge rise", "px"),
            ("series.edge_rise_px", "edge rise", "px"),
            ("sharpness.mtf50_cy_px", "MTF50", "cycles/px"),
            ("sharpness.mtf50_lp_mm", "MTF50 on the sensor", "line pairs/mm"),
            ("blur.motion_deg", "direction of the motion", "\u{b0}"),
            ("noise.gain_e_per_dn", "gain", "e\u{207b}/DN"),
            ("print.largest.width_in", "largest width", "in"),
            ("print.ppi", "resolution on the paper", "ppi"),
            ("print.snr_midtone", "mid-tone SNR on the paper", ":1"),
            ("series.range_lost_ev_per_stop", "range lost per stop", "EV"),
            ("shot.f_number", "f-number", ""),
            ("channels.read_noise_e", "read noise", "e\u{207b}"),
        ] {
            assert_eq!(label(path), (told.to_owned(), unit), "{path}");
        }
    }
}

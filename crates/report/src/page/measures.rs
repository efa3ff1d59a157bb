//! The measures by which the overview sorts, each with its unit.

use super::shoot::Sheet;

/// One measure of the overview.
pub(crate) struct Sortable {
    /// Word in the address and in the script.
    pub word: &'static str,
    /// As shown.
    pub label: &'static str,
    /// Unit, as shown behind the value.
    pub unit: &'static str,
    /// The value.
    pub value: fn(&Sheet) -> Option<f64>,
}

macro_rules! sortable {
    ($word:literal, $label:literal, $unit:literal, $value:expr) => {
        Sortable { word: $word, label: $label, unit: $unit, value: $value }
    };
}

/// All of them.
pub(crate) const SORTABLE: &[Sortable] = &[
    sortable!("print", "largest print", "cm", |s| s.largest_cm().map(|l| l.0.max(l.1))),
    sortable!("ppi", "resolution at the brief's size", "ppi", |s| s.card.print.ppi),
    sortable!("rise-paper", "edge rise on the paper", "mm", |s| s.card.print.rise_mm),
    sortable!("motion-paper", "motion on the paper", "mm", |s| s.card.print.motion_mm),
    sortable!("snr-paper", "mid-tone signal-to-noise on the paper", ":1", |s| s.card.print.snr_midtone),
    sortable!("rise", "edge rise", "px", |s| s.card.sharpness.as_ref()?.edge_rise_px),
    sortable!("mtf50", "MTF50", "cycles/px", |s| s.card.sharpness.as_ref()?.mtf50_cy_px),
    sortable!("motion", "motion", "px", |s| s.card.blur.as_ref()?.motion_px),
    sortable!("clipped", "clipped area", "%", |s| Some(s.card.exposure.as_ref()?.clipped_any_pct)),
    sortable!("clipped-patch", "largest clipped patch", "%", |s| Some(
        s.card.exposure.as_ref()?.largest_clipped_area_pct
    )),
    sortable!("floor", "samples at the noise floor", "%", |s| s.card.exposure.as_ref()?.floor_pct),
    sortable!("headroom", "headroom", "EV", |s| s.card.exposure.as_ref()?.headroom_ev),
    sortable!("scene", "scene range", "EV", |s| s.card.exposure.as_ref()?.scene_range_ev),
    sortable!("snr", "mid-tone signal-to-noise of a pixel", "dB", |s| s.card.noise.as_ref()?.snr_midtone_db),
    sortable!("read-noise", "read noise", "DN", |s| s.card.noise.as_ref()?.read_noise_dn),
    sortable!("row-banding", "row banding", "DN", |s| s.card.noise.as_ref()?.row_banding_dn),
    sortable!("usable", "usable range", "EV", |s| s.card.range.usable_ev),
    sortable!("range", "range, saturation over read noise", "EV", |s| s.card.range.engineering_ev),
    sortable!("iso", "ISO", "", |s| s.card.shot.as_ref()?.iso),
    sortable!("shutter", "exposure time", "s", |s| s.card.shot.as_ref()?.shutter_s),
    sortable!("aperture", "f-number", "", |s| s.card.shot.as_ref()?.f_number),
    sortable!("focal", "focal length", "mm", |s| s.card.shot.as_ref()?.focal_mm),
];

//! The measures by which the overview sorts, each with its unit.

use rawassay_analysis::brief::{LengthUnit, PictureUnit};
use rawassay_analysis::explain;

use super::shoot::Sheet;

/// One measure of the overview.
pub(crate) struct Sortable {
    /// Word in the address and in the script.
    pub word: &'static str,
    /// Path in the scorecard, by which it is labelled.
    path: &'static str,
    /// The value, in the unit of its path.
    value: fn(&Sheet) -> Option<f64>,
}

/// Longer side of the largest print, told in the brief's unit.
const LARGEST: &str = "print.largest_cm";

impl Sortable {
    /// What it is called and its unit; lengths of a print in `unit`.
    pub(crate) fn label(&self, unit: PictureUnit) -> (String, &'static str) {
        let (label, own) = explain::label(self.path);
        match self.path {
            LARGEST if unit.is_pixel() => (label.replace("print", "size"), unit.sign()),
            LARGEST => (label, unit.sign()),
            _ => (unit.says(&label), own),
        }
    }

    /// The value in that unit, where it is known.
    pub(crate) fn shown(&self, sheet: &Sheet, unit: PictureUnit) -> Option<f64> {
        let scale = if self.path == LARGEST { LengthUnit::Cm.mm() / unit.mm() } else { 1.0 };
        (self.value)(sheet).map(|v| v * scale).filter(|v| v.is_finite())
    }
}

macro_rules! sortable {
    ($word:literal, $path:expr, $value:expr) => {
        Sortable { word: $word, path: $path, value: $value }
    };
}

/// All of them.
pub(crate) const SORTABLE: &[Sortable] = &[
    sortable!("print", LARGEST, |s| s.largest_cm().map(|l| l.0.max(l.1))),
    sortable!("ppi", "print.ppi", |s| s.card.print.ppi),
    sortable!("rise-paper", "print.rise_mm", |s| s.card.print.rise_mm),
    sortable!("motion-paper", "print.motion_mm", |s| s.card.print.motion_mm),
    sortable!("snr-paper", "print.snr_midtone", |s| s.card.print.snr_midtone),
    sortable!("snr-lifted", "print.snr_lifted", |s| s.card.print.snr_lifted),
    sortable!("rise", "sharpness.edge_rise_px", |s| s.card.sharpness.as_ref()?.edge_rise_px),
    sortable!("mtf50", "sharpness.mtf50_cy_px", |s| s.card.sharpness.as_ref()?.mtf50_cy_px),
    sortable!("motion", "blur.motion_px", |s| s.card.blur.as_ref()?.motion_px),
    sortable!("clipped", "exposure.clipped_any_pct", |s| Some(s.card.exposure.as_ref()?.clipped_any_pct)),
    sortable!("clipped-patch", "exposure.largest_clipped_area_pct", |s| Some(
        s.card.exposure.as_ref()?.largest_clipped_area_pct
    )),
    sortable!("floor", "exposure.floor_pct", |s| s.card.exposure.as_ref()?.floor_pct),
    sortable!("headroom", "exposure.headroom_ev", |s| s.card.exposure.as_ref()?.headroom_ev),
    sortable!("scene", "exposure.scene_range_ev", |s| s.card.exposure.as_ref()?.scene_range_ev),
    sortable!("snr", "noise.snr_midtone_db", |s| s.card.noise.as_ref()?.snr_midtone_db),
    sortable!("read-noise", "noise.read_noise_dn", |s| s.card.noise.as_ref()?.read_noise_dn),
    sortable!("row-banding", "noise.row_banding_dn", |s| s.card.noise.as_ref()?.row_banding_dn),
    sortable!("usable", "range.usable_ev", |s| s.card.range.usable_ev),
    sortable!("range", "range.engineering_ev", |s| s.card.range.engineering_ev),
    sortable!("iso", "shot.iso", |s| s.card.shot.as_ref()?.iso),
    sortable!("shutter", "shot.shutter_s", |s| s.card.shot.as_ref()?.shutter_s),
    sortable!("aperture", "shot.f_number", |s| s.card.shot.as_ref()?.f_number),
    sortable!("focal", "shot.focal_mm", |s| s.card.shot.as_ref()?.focal_mm),
];

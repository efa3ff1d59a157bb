//! What is measured of one frame: plain values with their units in the names.
//!
//! `None` means not measurable in this frame, never zero; the reason then stands in the notes. Every value passes
//! [`known`], which refuses NaN and infinities.

pub(crate) mod areas;
pub(crate) mod banding;
mod block_sums;
mod chi_square;
pub(crate) mod clipping;
mod extent;
pub(crate) mod faint_structure;
mod few_samples;
pub(crate) mod flat_blocks;
pub(crate) mod glow;
pub(crate) mod histogram;
mod hot_cells;
mod hot_pass;
pub(crate) mod hot_pixels;
pub(crate) mod hot_sites;
pub(crate) mod hot_vicinity;
pub(crate) mod levels;
pub(crate) mod like_pairs;
pub(crate) mod likeness;
mod line_evenness;
pub(crate) mod line_fit;
pub(crate) mod line_offsets;
mod line_parts;
mod line_singles;
mod line_singles_light;
mod line_solve;
mod line_spectrum;
pub(crate) mod line_steps;
mod line_stretch;
mod line_waves;
mod line_weights;
mod lines_out;
mod lines_seen;
mod lines_shown;
mod marks;
pub(crate) mod masked;
mod masked_between;
mod masked_codes;
mod masked_cut;
mod masked_far;
pub(crate) mod noise;
pub(crate) mod overexposed;
pub(crate) mod patches;
pub(crate) mod plane_noise;
pub(crate) mod rounding;
pub(crate) mod saturation;
pub mod scatter;
pub(crate) mod settle;
mod several_waves;
pub mod sharpness;
mod smoothing;
mod variance;

use rawassay_decode::BlackFrom;
use serde::{Deserialize, Serialize};

/// A reading: the value where it is finite, else unknown.
#[must_use]
pub fn known(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

/// Where the saturation level comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum SaturationFrom {
    /// A pile-up at the top of the plane's histogram.
    Observed,
    /// The white level that the file states.
    Declared,
}

/// Levels, clipping and noise of one plane of the filter array.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Channel {
    /// Plane name ("R", "G1", "G2", "B", or as the filter says).
    pub name: String,
    /// Black level, DN absolute.
    pub black_dn: f64,
    /// Where the black level comes from.
    pub black_from: BlackFrom,
    /// Declared white level, DN absolute.
    pub white_declared_dn: f64,
    /// Level at which this plane clips, DN absolute.
    pub saturation_dn: f64,
    /// Where the saturation level comes from.
    pub saturation_from: SaturationFrom,
    /// Samples at saturation, per cent of the plane's samples in the active area.
    pub clipped_pct: f64,
    /// Samples at or below black + one read noise, per cent. Unknown where read noise is.
    pub floor_pct: Option<f64>,
    /// log2(saturation / 99.9 percentile), both above black, EV.
    pub headroom_ev: Option<f64>,
    /// How far the median lies below saturation, log2(saturation / median), EV.
    pub median_ev: Option<f64>,
    /// Electrons per DN.
    pub gain_e_per_dn: Option<f64>,
    /// Read noise, DN.
    pub read_noise_dn: Option<f64>,
    /// Read noise, electrons.
    pub read_noise_e: Option<f64>,
    /// Electrons at saturation.
    pub full_well_e: Option<f64>,
    /// Signal-to-noise of one pixel at 12.7 % of saturation, dB.
    pub snr_midtone_db: Option<f64>,
}

/// Clipping and tonal extent of the whole picture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Exposure {
    /// Pixels (2x2 cells of a Bayer array) where any plane is clipped, per cent of the active area.
    pub clipped_any_pct: f64,
    /// Pixels where all planes are clipped, per cent.
    pub clipped_all_pct: f64,
    /// Largest connected clipped area, per cent of the active area.
    pub largest_clipped_area_pct: f64,
    /// Connected clipped areas.
    pub clipped_area_count: u64,
    /// Samples at the floor, per cent over all planes.
    pub floor_pct: Option<f64>,
    /// Least headroom of the planes, EV.
    pub headroom_ev: Option<f64>,
    /// log2 of the 99.5 over the 0.5 percentile of the green (or only) plane above black, EV.
    pub scene_range_ev: Option<f64>,
    /// How far the 0.5 percentile of that plane lies below saturation, EV; at the least, where it lies in the noise at
    /// black.
    #[serde(default)]
    pub darkest_ev: Option<f64>,
    /// By how many EV the frame could have been exposed brighter before more than specular spots clip, the least of
    /// the planes; negative where it is overexposed.
    pub brighter_by_ev: Option<f64>,
    /// By how many EV developing lifts the frame to the brightness of a metered one: until its mean lies at 12.7 % of
    /// saturation or its lightest tones reach white. Zero where it is bright enough.
    #[serde(default)]
    pub lift_ev: Option<f64>,
}

/// Noise of the frame.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Noise {
    /// Flat patches that the fit of variance against mean used.
    pub flat_patches: u64,
    /// Coefficient of determination of the fit (green), 0..1.
    pub model_r2: Option<f64>,
    /// Read noise of the green (or only) plane, DN.
    pub read_noise_dn: Option<f64>,
    /// Gain of the green (or only) plane, electrons per DN.
    pub gain_e_per_dn: Option<f64>,
    /// Read noise from the dark tones of the picture, DN, where it has any: beside that of the masked pixels.
    #[serde(default)]
    pub picture_read_noise_dn: Option<f64>,
    /// Read noise from the masked pixels, DN, where the frame has them.
    pub masked_read_noise_dn: Option<f64>,
    /// Standard deviation of row offsets, DN.
    pub row_banding_dn: Option<f64>,
    /// Standard deviation of column offsets, DN.
    pub column_banding_dn: Option<f64>,
    /// Pixels that stand alone, eight standard deviations of the noise above what surrounds them.
    pub hot_pixels: Option<u64>,
    /// Signal-to-noise of one green pixel at 12.7 % of saturation, dB.
    pub snr_midtone_db: Option<f64>,
    /// The same of the tone that becomes the mid-tone once the frame is lifted by `exposure.lift_ev`, dB.
    #[serde(default)]
    pub snr_lifted_db: Option<f64>,
}

/// Blur kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum BlurKind {
    /// As sharp as lens and pixel allow.
    None,
    /// Focus missed.
    Defocus,
    /// Camera or subject moved.
    Motion,
    /// Both.
    Mixed,
    /// Cannot be told.
    Undetermined,
}

/// Rise over the frame, by row of tiles from the top left of the active area.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct RiseMap {
    /// Tiles across.
    pub cols: usize,
    /// Tiles down.
    pub rows: usize,
    /// 10-90 % rise in each tile, pixels; unknown where the tile has too few edges.
    pub rise_px: Vec<Option<f64>>,
}

/// Sharpness of the frame, from its edges.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Sharpness {
    /// Edges that passed every test.
    pub edges: u64,
    /// 10-90 % edge rise of the sharpest quarter, pixel included, pixels.
    pub edge_rise_px: Option<f64>,
    /// Spread (standard error) of that value, pixels.
    pub edge_rise_spread_px: Option<f64>,
    /// Spatial frequency at 50 % contrast, cycles per pixel.
    pub mtf50_cy_px: Option<f64>,
    /// Spatial frequency at 10 % contrast, cycles per pixel.
    pub mtf10_cy_px: Option<f64>,
    /// Line pairs per mm on the sensor at 50 % contrast, where the pixel pitch is known.
    pub mtf50_lp_mm: Option<f64>,
    /// Rise by direction of the edge normal, 12 bins of 15 degrees from 0, pixels.
    pub rise_by_direction_px: [Option<f64>; 12],
    /// Rise over the frame.
    pub map: RiseMap,
    /// True where noise, not blur, limits what can be told.
    pub noise_limited: bool,
    /// Where the sharpest measured edge lies (column, row of the full frame), for pictures at 100 %.
    pub sharpest_at_px: Option<(u32, u32)>,
    /// Where the least sharp measured edge lies.
    pub softest_at_px: Option<(u32, u32)>,
}

/// What blurred the frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Blur {
    /// Kind.
    pub kind: BlurKind,
    /// Length of the motion, pixels.
    pub motion_px: Option<f64>,
    /// Direction of the motion, degrees anticlockwise from the horizontal axis of the frame as stored, 0..180.
    pub motion_deg: Option<f64>,
    /// Radius of the defocus disc, pixels.
    pub defocus_px: Option<f64>,
    /// 10-90 % rise that diffraction alone would give at this f-number and pitch (0.55 um), pixels.
    pub expected_diffraction_px: Option<f64>,
    /// Confidence in the kind, 0..1.
    pub confidence: f64,
    /// Share of the tiles with edges that show the motion, per cent: near 100 for a shaken camera, few for one
    /// moving subject.
    pub motion_tiles_pct: Option<f64>,
}

impl Default for Blur {
    fn default() -> Self {
        Self {
            kind: BlurKind::Undetermined,
            motion_px: None,
            motion_deg: None,
            defocus_px: None,
            expected_diffraction_px: None,
            confidence: 0.0,
            motion_tiles_pct: None,
        }
    }
}

/// One connected clipped area.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct ClippedArea {
    /// Bounding box: first column, first row, columns, rows, pixels of the full frame.
    pub box_px: [usize; 4],
    /// Its size, per cent of the active area.
    pub area_pct: f64,
    /// The part of it in which a second colour is clipped too, per cent of the active area.
    #[serde(default)]
    pub tone_lost_pct: Option<f64>,
    /// How far the middle tone of what surrounds it lies below saturation, EV; unknown where it is too large to have
    /// surroundings that tell.
    #[serde(default)]
    pub around_ev: Option<f64>,
}

/// Where the frame is clipped or blocked, coarse enough for the record: kept so that a crop can be judged later.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct ClippingMap {
    /// Tiles across the active area.
    pub cols: usize,
    /// Tiles down the active area.
    pub rows: usize,
    /// Pixels with any plane clipped in each tile, per cent of the tile, by row.
    #[serde(deserialize_with = "finite")]
    pub any_pct: Vec<f32>,
    /// Samples at the floor in each tile, per cent, by row; empty where unknown.
    #[serde(deserialize_with = "finite")]
    pub floor_pct: Vec<f32>,
    /// The largest areas, largest first, 16 at the most.
    pub areas: Vec<ClippedArea>,
}

/// Numbers of a record: one too large for single precision would be read as infinite.
fn finite<'de, D: serde::Deserializer<'de>>(from: D) -> Result<Vec<f32>, D::Error> {
    let values = Vec::<f32>::deserialize(from)?;
    if values.iter().all(|v| v.is_finite()) {
        Ok(values)
    } else {
        Err(serde::de::Error::custom("a number that is too large"))
    }
}

/// A small picture made from the raw, for telling near-duplicates.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Likeness {
    /// Columns.
    pub cols: usize,
    /// Rows.
    pub rows: usize,
    /// Mean of the green (or only) plane in each cell, log2 of the share of saturation, in 1/16 EV below
    /// saturation (0 = saturated, 255 = 16 EV below or less), by row.
    pub below_saturation: Vec<u8>,
}

/// All that is measured of one frame.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Measures {
    /// Active area within the full frame: first column, first row, columns, rows.
    pub active_px: [usize; 4],
    /// One per plane of the filter array.
    pub channels: Vec<Channel>,
    /// Clipping and tonal extent.
    pub exposure: Exposure,
    /// Noise.
    pub noise: Noise,
    /// log2(saturation / read noise) of the green (or only) plane, EV.
    pub engineering_ev: Option<f64>,
    /// Sharpness.
    pub sharpness: Sharpness,
    /// Blur.
    pub blur: Blur,
    /// Where it is clipped.
    pub clipping: ClippingMap,
    /// Small picture.
    pub likeness: Likeness,
    /// Reasons for what is unknown, and cautions.
    pub notes: Vec<String>,
}

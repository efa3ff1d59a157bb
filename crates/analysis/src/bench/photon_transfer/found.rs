//! What photon transfer finds.

use serde::Serialize;

/// One pair, one plane.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct TransferPoint {
    /// Mean, DN above the dark frames (for a dark pair, DN absolute).
    pub mean_dn: f64,
    /// Temporal variance, DN squared.
    pub variance_dn2: f64,
    /// Exposure time, s.
    pub shutter_s: Option<f64>,
    /// Pixels of each of the two frames.
    pub pixels: u64,
}

/// One plane of the sensor.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SensorChannel {
    /// Plane name.
    pub name: String,
    /// Electrons per DN.
    pub gain_e_per_dn: f64,
    /// Its standard error, from the pixels counted and the scatter about the line.
    pub gain_se_e_per_dn: f64,
    /// Read noise, electrons, rounding taken off.
    pub read_noise_e: Option<f64>,
    /// Its standard error, e-: of the dark pairs and of the gain.
    pub read_noise_se_e: Option<f64>,
    /// Read noise, DN, rounding taken off.
    pub read_noise_dn: Option<f64>,
    /// Its standard error, DN.
    pub read_noise_se_dn: Option<f64>,
    /// Electrons at saturation; `None` where that lies above the flats, nobody knows how far.
    pub full_well_e: Option<f64>,
    /// Its standard error, e-: that of the gain; the level of saturation is taken as known.
    pub full_well_se_e: Option<f64>,
    /// log2(full well / read noise), EV.
    pub engineering_ev: Option<f64>,
    /// Its standard error, EV.
    pub engineering_se_ev: Option<f64>,
    /// Coefficient of determination of the slope, 0..1.
    pub fit_r2: f64,
    /// Level of the dark frames, DN absolute.
    pub dark_dn: f64,
    /// Saturation, DN absolute.
    pub saturation_dn: Option<f64>,
    /// "observed", "neighbours" (by the other planes), "declared" or "unknown".
    pub saturation_from: &'static str,
    /// Signal-to-noise ratio at saturation, dB.
    pub snr_max_db: Option<f64>,
    /// Mean deviation of the level from a straight line over exposure time, per cent, 5 to 95 % of saturation; unknown
    /// where the exposure time did not set the light.
    pub linearity_error_pct: Option<f64>,
    /// Spread of the photosites' dark level (DSNU), electrons; `None` where it does not stand out of the noise.
    pub dsnu_e: Option<f64>,
    /// Its standard error, e-.
    pub dsnu_se_e: Option<f64>,
    /// The part of it that whole rows share, electrons.
    pub dsnu_row_e: Option<f64>,
    /// The part of it that whole columns share, electrons.
    pub dsnu_column_e: Option<f64>,
    /// Spread of the photosites' sensitivity (PRNU) near half of saturation, per cent of the mean.
    pub prnu_pct: Option<f64>,
    /// Its standard error, per cent.
    pub prnu_se_pct: Option<f64>,
    /// Rise of the dark frames' level at the rim over the middle (amplifier glow), electrons; `None` where there is none.
    pub glow_e: Option<f64>,
    /// The pairs.
    pub points: Vec<TransferPoint>,
}

/// The sensor.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PhotonTransfer {
    /// Planes, in the order of the filter array.
    pub channels: Vec<SensorChannel>,
    /// Pairs of flats and of darks.
    pub flat_pairs: usize,
    /// Pairs of dark frames.
    pub dark_pairs: usize,
    /// Cautions.
    pub notes: Vec<String>,
}

//! Range and signal-to-noise in closed form, from gain, read noise and full well.
//!
//! Model: a tone of S electrons in one pixel has variance S + r^2 (photon noise and read noise r). Averaging n pixels
//! raises the signal-to-noise ratio by sqrt(n). Sources: Janesick, "Photon Transfer" (2007); EMVA 1288, sections on
//! signal-to-noise and dynamic range (DR = saturation over noise floor).

use crate::measures::Channel;

/// An 18 % grey metered by ISO 12232's saturation speed lies at 12.7 % of saturation (quoted from memory).
pub const MIDTONE_SHARE: f64 = 0.127;

/// Engineering range: log2(saturation / read noise), both in the same unit, EV. `None` unless both are positive.
#[must_use]
pub fn engineering_ev(saturation: f64, read_noise: f64) -> Option<f64> {
    (saturation > 0.0 && read_noise > 0.0).then(|| (saturation / read_noise).log2()).filter(|v| v.is_finite())
}

/// Signal-to-noise ratio of a tone of `signal_e` electrons per pixel after averaging `pixels_averaged` pixels.
#[must_use]
pub fn snr(signal_e: f64, read_noise_e: f64, pixels_averaged: f64) -> f64 {
    let variance = signal_e + read_noise_e * read_noise_e;
    if signal_e <= 0.0 || variance <= 0.0 { 0.0 } else { signal_e * (pixels_averaged.max(0.0) / variance).sqrt() }
}

/// Signal in electrons per pixel at which averaging `pixels_averaged` pixels reaches `snr_limit`: the positive root of
/// n S^2 - q^2 S - q^2 r^2 = 0.
#[must_use]
pub fn signal_for_snr(snr_limit: f64, read_noise_e: f64, pixels_averaged: f64) -> f64 {
    let k = snr_limit * snr_limit / pixels_averaged;
    0.5 * (k + (k * k + 4.0 * k * read_noise_e * read_noise_e).sqrt())
}

/// Usable range, EV: from saturation down to the tone whose signal-to-noise ratio, `pixels_averaged` pixels averaged,
/// is `snr_limit`. `None` where gain or read noise of the plane is unknown, or an argument is not positive. Zero where
/// even saturation does not reach the limit.
#[must_use]
pub fn usable_range_ev(channel: &Channel, snr_limit: f64, pixels_averaged: f64) -> Option<f64> {
    let full_well = channel.full_well_e.filter(|&w| w > 0.0)?;
    let read_noise = channel.read_noise_e.filter(|&r| r >= 0.0)?;
    if !(snr_limit > 0.0 && pixels_averaged > 0.0) {
        return None;
    }
    let least = signal_for_snr(snr_limit, read_noise, pixels_averaged);
    crate::known((full_well / least).log2().max(0.0))
}

/// Signal-to-noise ratio of the plane at a share (0..1) of saturation, `pixels_averaged` pixels averaged. Where read
/// noise is unknown photon noise alone is taken, which is right to a few per cent for shares above 1/100 of a full well
/// of 1000 electrons or more. `None` where gain is unknown.
#[must_use]
pub fn snr_at(channel: &Channel, share_of_saturation: f64, pixels_averaged: f64) -> Option<f64> {
    let full_well = channel.full_well_e.filter(|&w| w > 0.0)?;
    crate::known(snr(share_of_saturation * full_well, channel.read_noise_e.unwrap_or(0.0), pixels_averaged))
}

/// Decibels of a ratio (20 log10). `None` unless positive.
#[must_use]
pub fn decibels(ratio: f64) -> Option<f64> {
    (ratio > 0.0).then(|| 20.0 * ratio.log10()).filter(|v| v.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measures::SaturationFrom;
    use rawassay_decode::BlackFrom;

    fn channel(full_well_e: f64, read_noise_e: f64) -> Channel {
        Channel {
            name: "G1".into(),
            black_dn: 0.0,
            black_from: BlackFrom::Declared,
            white_declared_dn: 1.0,
            saturation_dn: 1.0,
            saturation_from: SaturationFrom::Declared,
            clipped_pct: 0.0,
            floor_pct: None,
            headroom_ev: None,
            median_ev: None,
            gain_e_per_dn: Some(1.0),
            read_noise_dn: Some(read_noise_e),
            read_noise_e: Some(read_noise_e),
            full_well_e: Some(full_well_e),
            snr_midtone_db: None,
        }
    }

    #[test]
    fn worked_values_of_janesick() {
        // Full well 50 000 e-, read noise 3 e-: 14.02 EV; photon-limited SNR at 10 000 e- is 100, 40 dB.
        assert!((engineering_ev(50_000.0, 3.0).unwrap_or(0.0) - 14.02).abs() < 0.005);
        assert!((snr(10_000.0, 0.0, 1.0) - 100.0).abs() < 1e-9);
        assert!((decibels(100.0).unwrap_or(0.0) - 40.0).abs() < 1e-9);
    }

    #[test]
    fn averaging_gains_half_an_ev_per_doubling_when_read_noise_rules() {
        let c = channel(50_000.0, 300.0);
        let range = |n| usable_range_ev(&c, 1.0, n).unwrap_or(0.0);
        assert!((range(2.0) - range(1.0) - 0.5).abs() < 0.01);
        // ... and a whole one where photon noise rules (S = q^2 / n).
        let c = channel(50_000.0, 0.0);
        let range = |n| usable_range_ev(&c, 10.0, n).unwrap_or(0.0);
        assert!((range(2.0) - range(1.0) - 1.0).abs() < 1e-9);
        assert!((range(1.0) - f64::log2(500.0)).abs() < 1e-9);
    }

    #[test]
    fn the_limit_tone_has_the_limit_snr() {
        for (q, r, n) in [(1.0, 3.0, 1.0), (10.0, 2.0, 7.5), (20.0, 0.0, 0.3), (3.0, 12.0, 100.0)] {
            assert!((snr(signal_for_snr(q, r, n), r, n) / q - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn unknown_or_senseless_is_none() {
        let mut c = channel(1_000.0, 2.0);
        assert_eq!(usable_range_ev(&c, 0.0, 1.0), None);
        assert_eq!(usable_range_ev(&c, 1.0, f64::NAN), None);
        c.read_noise_e = None;
        assert_eq!(usable_range_ev(&c, 1.0, 1.0), None);
        c.full_well_e = None;
        assert_eq!(snr_at(&c, 0.1, 1.0), None);
        assert_eq!(engineering_ev(0.0, 1.0), None);
        assert_eq!(decibels(-1.0), None);
    }
}

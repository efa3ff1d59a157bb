//! `banded`: row or column offsets stand out of the noise on the paper.
//!
//! The offset of a row is the same all along it, so that averaging over the square that the eye resolves lowers it by
//! the rows averaged only, while the noise falls by rows and columns: the larger the averaging, the plainer the bands.
//! Held against the noise in the frame's own darkest tones. Common practice, no source: bands show above about a tenth
//! of the pixel noise.

use super::{Case, Finding, FindingCode, Parts, Severity, apart, passed, surface};
use crate::brief::length::short;
use crate::judge::case::green;
use crate::known;
use crate::print::{grade_above, pixels_averaged};

/// Banding over noise on the paper in the darkest tones, ratio; `None` where either is unknown.
pub(in crate::judge) fn ratio(case: &Case<'_>) -> Option<f64> {
    let m = case.measures?;
    let banding = [m.noise.row_banding_dn, m.noise.column_banding_dn];
    let banding = banding
        .into_iter()
        .flatten()
        .filter(|v| v.is_finite())
        .fold(None, |a: Option<f64>, b| Some(a.map_or(b, |a| a.max(b))))?;
    let read = m.noise.read_noise_dn.or(m.noise.masked_read_noise_dn).and_then(known).filter(|r| *r > 0.0)?;
    let noise = (read * read + darkest_shot_variance(case).unwrap_or(0.0)).sqrt();
    // Over a square of s x s pixels the bands fall by sqrt(s), the noise by s.
    let side_px = pixels_averaged(case.paper.seen.finest_mm, case.ppi()?).sqrt();
    known(banding / noise * side_px.sqrt())
}

/// Variance of photon noise in the tone that the darkest half per cent reaches, DN^2.
fn darkest_shot_variance(case: &Case<'_>) -> Option<f64> {
    let m = case.measures?;
    let channel = green(m)?;
    let gain = m.noise.gain_e_per_dn.filter(|g| *g > 0.0)?;
    let below = m.exposure.scene_range_ev? + channel.headroom_ev?.max(0.0);
    known((channel.saturation_dn - channel.black_dn) * (-below).exp2() / gain).filter(|v| *v >= 0.0)
}

/// How bad the bands are at this size.
pub(in crate::judge) fn grade(case: &Case<'_>) -> Option<Severity> {
    grade_above(ratio(case)?, case.brief.limits.banding_to_noise)
}

pub(super) fn rule(case: &Case<'_>) -> Option<Finding> {
    let ratio = ratio(case)?;
    let limits = case.brief.limits.banding_to_noise;
    let severity = grade(case)?;
    let m = case.measures?;
    let (row, column) = (m.noise.row_banding_dn.unwrap_or(0.0), m.noise.column_banding_dn.unwrap_or(0.0));
    let (lines, dn) = if row >= column { ("rows", row) } else { ("columns", column) };
    let limit = passed(limits, severity);
    let room = m.exposure.brighter_by_ev.filter(|ev| *ev >= 0.5);
    let room = room.map_or(String::new(), |ev| format!(" (there was room for {ev:.1} EV)"));
    Some(
        Parts {
            code: FindingCode::Banded,
            severity,
            measured: ratio,
            limit,
            unit: "ratio",
            text: format!(
                "Bands along {lines} ({dn:.1} DN) reach {} of the noise in the darkest tones on {}, limit {}; they show once shadows are lifted.",
                apart(format!("{ratio:.2}"), ratio, limit),
                surface(case),
                short(limit)
            ),
            remedy: format!(
                "Expose brighter{room} and lift shadows less; use the mechanical shutter, a lower ISO, and keep the bands' \
                 tones black in the print; make a proof of the shadows"
            ),
        }
        .into_finding(),
    )
}

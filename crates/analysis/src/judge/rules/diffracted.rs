//! `diffracted`: the f-number is past the point for this pitch and print.
//!
//! Held against the measurement: where the edges are as wide as diffraction predicts, and it makes the larger part of
//! their variance, it is the cause and takes the severity of the edges. Else it is a note; no word where the frame is
//! sharp pixel by pixel and the edges agree with the f-number.

use super::{Case, Finding, FindingCode, Parts, Severity, apart, or_print_smaller, passed, surface};
use crate::brief::length::short;
use crate::measures::BlurKind;
use crate::optics;
use crate::print::{Aspect, grade_above};

/// 10-90 % rise of a square pixel alone, px (closed form).
const PIXEL_RISE_PX: f64 = 0.8;
/// Edges narrower than this share of what diffraction and pixel predict cannot come from that f-number. A diffraction
/// edge has long tails, and the fit to natural edges reads it narrower by up to a fifth.
const AGREES: f64 = 0.75;
/// Diffraction of this share of all else widens the edges by a tenth: the square root of 1.1 squared less 1.
const LITTLE_WIDER: f64 = 0.458;
/// Wider than this a lens's own faults, which do not show in a frame stopped down, may undo the gain (common practice, no
/// source).
const WIDEST_ADVISED_F: f64 = 8.0;
/// Diffraction is the cause where it makes at least this share of the edges' variance beyond the pixel.
const CAUSE_SHARE: f64 = 0.5;
/// As a share of it where the measures name another kind of blur.
const CAUSE_SHARE_OF_OTHER: f64 = 0.75;

/// Share of the edges' variance beyond the pixel that diffraction makes; `None` where it is unknown, or where the edges
/// are sharper than that f-number allows.
pub(super) fn share(case: &Case<'_>) -> Option<f64> {
    let (diffraction, rise) = (case.diffraction_px()?, case.paper.brings.rise_px?);
    let beyond = (rise * rise - PIXEL_RISE_PX * PIXEL_RISE_PX).max(1e-9);
    agrees(diffraction, rise).then(|| diffraction * diffraction / beyond)
}

/// True where the measured edges agree with diffraction as the cause of their width.
pub(super) fn explains(case: &Case<'_>) -> bool {
    let least = match case.blur_kind() {
        BlurKind::None | BlurKind::Undetermined => CAUSE_SHARE,
        // The sharpest edges lie along the motion, which leaves them as they are; where its length is unknown they are
        // what tells of it.
        BlurKind::Motion if case.paper.brings.motion_px.is_some() => CAUSE_SHARE,
        BlurKind::Defocus => CAUSE_SHARE_OF_OTHER,
        BlurKind::Motion | BlurKind::Mixed => return false,
    };
    share(case).is_some_and(|share| share >= least)
}

fn agrees(diffraction_px: f64, rise_px: f64) -> bool {
    rise_px >= AGREES * diffraction_px.hypot(PIXEL_RISE_PX)
}

pub(super) fn rule(case: &Case<'_>) -> Option<Finding> {
    let diffraction = case.diffraction_px().filter(|d| *d > 0.0)?;
    let f_number = case.shot.and_then(|s| s.f_number).filter(|n| n.is_finite() && *n > 0.0)?;
    let ppi = case.ppi()?;
    let limits = case.paper.limit(Aspect::Sharpness);
    let in_eyes = |px: f64| px * crate::brief::MM_PER_INCH / ppi / case.paper.seen.finest_mm;
    let alone = in_eyes(diffraction);
    let past = grade_above(alone, limits).is_some();
    let measured_grade = case.grade(Aspect::Sharpness);
    let rise = case.paper.brings.rise_px;
    // The f-number at which diffraction and all else together would stay within the limit.
    let limit_px = limits.borderline * case.paper.seen.finest_mm * ppi / crate::brief::MM_PER_INCH;
    let other = rise.map_or(PIXEL_RISE_PX, |r| (r * r - diffraction * diffraction).max(0.0).sqrt());
    let room = (limit_px * limit_px - other * other).max(0.0).sqrt();
    let wider = optics::f_number_not_above(f_number * (room / diffraction).min(1.0)).filter(|n| *n < f_number);
    let open_up = match wider {
        Some(n) => format!("Open up to f/{n} or wider and focus-stack where depth is needed"),
        None => {
            // As far as it gains: diffraction then widens the edges by less than a tenth.
            let gains = (f_number * LITTLE_WIDER * other / diffraction).max(WIDEST_ADVISED_F);
            let far = optics::f_number_not_above(gains).filter(|n| *n < f_number);
            let far = far.map_or(String::new(), |n| format!(" to about f/{n}"));
            format!(
                "Open up{far}, focus-stack where depth is needed, and make a smaller print or stitch: opening up alone does \
                 not reach this size"
            )
        }
    };
    let airy = optics::airy_um(f_number);
    let pitch = case
        .shot
        .and_then(|s| s.pixel_pitch_um)
        .map_or(String::new(), |p| format!("its Airy disc of {} um covers {:.1} pixels", short(airy), airy / p));
    match (measured_grade, explains(case)) {
        (Some(severity), true) => {
            let (rise, eyes) = (rise?, case.value(Aspect::Sharpness)?);
            let limit = passed(limits, severity);
            let edges = if case.blur_kind() == BlurKind::Motion { "the edges along the motion" } else { "edges" };
            Some(
                Parts {
                    code: FindingCode::Diffracted,
                    severity,
                    measured: eyes,
                    limit,
                    unit: "eye limits",
                    text: format!(
                        "Diffraction at f/{f_number} widens {edges} to {} mm on {}, {} times what is resolved, limit {}; {pitch}, and the measured {rise:.1} px agree.",
                        short(case.mm(rise)?),
                        surface(case),
                        apart(format!("{eyes:.1}"), eyes, limit),
                        short(limit),
                    ),
                    remedy: format!("{open_up}{}", or_print_smaller(case)),
                }
                .into_finding(),
            )
        }
        // Sharp pixel by pixel: the enlargement is named as the cause, and opening up would gain next to nothing.
        _ if case.paper.brings.pixel_sharp && share(case).is_some() => None,
        _ if past => {
            let said = match rise {
                None => "sharpness was not measured, so make a proof print",
                Some(r) if !agrees(diffraction, r) => {
                    "the measured edges are sharper than that, so it is not confirmed: check the f-number that the file states"
                }
                Some(_) if measured_grade.is_none() => "the measured edges are within the limit all the same",
                Some(_) if share(case).is_some_and(|share| share >= CAUSE_SHARE) => {
                    "it makes most of what widens the measured edges, and other blur the rest"
                }
                Some(_) => "other blur is larger in this frame",
            };
            Some(
                Parts {
                    code: FindingCode::Diffracted,
                    severity: Severity::Note,
                    measured: alone,
                    limit: limits.borderline,
                    unit: "eye limits",
                    text: format!(
                        "f/{f_number} is past the point for this print: diffraction alone makes edges {} times what is resolved, limit {}; {said}.",
                        apart(format!("{alone:.1}"), alone, limits.borderline),
                        short(limits.borderline),
                    ),
                    remedy: open_up,
                }
                .into_finding(),
            )
        }
        _ => None,
    }
}

//! `noisy`: mid-tones carry more noise on the paper than the brief allows, as metered or once a dark frame is lifted.

use super::{Case, Finding, FindingCode, Parts, Severity, apart, or_print_smaller, passed, surface};
use crate::brief::length::short;
use crate::judge::case::green;
use crate::measures::Noise;
use crate::print::{Aspect, pixels_averaged};
use crate::range::signal_for_snr;
use crate::{known, lift, optics};

/// Room to expose brighter that is worth telling, EV.
const WORTH_EV: f64 = 0.5;

/// A lift from which the photographer hears of it although the noise stays within the limits, EV.
const NOTED_EV: f64 = 1.0;

pub(super) fn rule(case: &Case<'_>) -> Option<Finding> {
    let ppi = case.ppi()?;
    let brings = case.paper.brings;
    let on_paper = |snr_px: Option<f64>| case.paper.snr(snr_px, ppi);
    let lifted = on_paper(brings.snr_lifted_px)?;
    let least = on_paper(brings.snr_least_lifted_px)?;
    let noted = (brings.lift_ev >= NOTED_EV).then_some(Severity::Note);
    let severity = case.grade(Aspect::Noise).or(noted)?;
    let measured = if severity == Severity::Fails { least } else { lifted };
    let metered = on_paper(brings.snr_px);
    let limits = case.paper.limit(Aspect::Noise);
    let iso = case.shot.and_then(|s| s.iso).filter(|i| i.is_finite() && *i > 0.0);
    let words = Words { case, iso, lift_ev: brings.lift_ev, lifted, least, metered, limits };
    let (text, remedy) = if brings.lift_ev < lift::TOLD_EV {
        (words.as_metered(lifted), words.less_noise(lifted))
    } else {
        words.dark(severity)
    };
    Some(
        Parts {
            code: FindingCode::Noisy,
            severity,
            measured,
            limit: passed(limits, severity),
            unit: "ratio",
            text,
            remedy,
        }
        .into_finding(),
    )
}

/// What the sentences are made of; ratios on the paper.
struct Words<'a, 'b> {
    case: &'a Case<'b>,
    iso: Option<f64>,
    lift_ev: f64,
    lifted: f64,
    least: f64,
    metered: Option<f64>,
    limits: crate::brief::Limit,
}

impl Words<'_, '_> {
    fn at(&self) -> String {
        self.iso.map_or(String::new(), |iso| format!(" at ISO {iso:.0}"))
    }

    /// A ratio, told apart from the limits.
    fn ratio(&self, snr: f64) -> String {
        apart(apart(format!("{snr:.1}"), snr, self.limits.borderline), snr, self.limits.fails)
    }

    fn wants(&self) -> String {
        format!("this brief wants {} and {} at the least", short(self.limits.borderline), short(self.limits.fails))
    }

    fn as_metered(&self, snr: f64) -> String {
        let (at, on, wants) = (self.at(), surface(self.case), self.wants());
        format!("Mid-tones{at} have a signal-to-noise ratio of {} on {on}; {wants}.", self.ratio(snr))
    }

    /// The same of a frame that is lifted: each limit with the ratio that is held against it.
    fn wants_lifted(&self) -> String {
        let kept = match self.lift_ev > lift::DARK_PICTURE_EV {
            true => format!("kept {:.1} EV darker", lift::DARK_PICTURE_EV),
            false => "left as dark as it is".to_string(),
        };
        format!(
            "this brief wants {}, and {} at the least in a picture that is {kept}, where it is {}",
            short(self.limits.borderline),
            short(self.limits.fails),
            self.ratio(self.least)
        )
    }

    /// A frame that has to be lifted: text and remedy.
    fn dark(&self, severity: Severity) -> (String, String) {
        let (at, on, wants) = (self.at(), surface(self.case), self.wants_lifted());
        let Self { lift_ev, .. } = self;
        let lifted = self.ratio(self.lifted);
        let limits = self.limits;
        let text = match self.metered {
            Some(metered) if metered < limits.borderline => format!(
                "Mid-tones{at} have a signal-to-noise ratio of {} on {on}, and {lifted} once the frame, {lift_ev:.1} EV \
                 under, is lifted to a normal brightness; {wants}.",
                self.ratio(metered)
            ),
            _ if severity == Severity::Fails => format!(
                "{lift_ev:.1} EV under: lifted to a normal brightness, mid-tones{at} come to a signal-to-noise ratio of {lifted} \
                 on {on}; {wants}."
            ),
            _ if severity == Severity::Note => format!(
                "{lift_ev:.1} EV under: lifted to a normal brightness, mid-tones{at} keep a signal-to-noise ratio of {lifted} on \
                 {on}, enough for this brief ({}).",
                short(limits.borderline)
            ),
            _ => format!(
                "{lift_ev:.1} EV under: lifted to a normal brightness, mid-tones{at} come to a signal-to-noise ratio of {lifted} \
                 on {on}; {wants}. No fault where the picture is meant dark."
            ),
        };
        let room = self.case.measures.and_then(|m| m.exposure.brighter_by_ev).unwrap_or(*lift_ev);
        let brighter = format!(
            "Expose up to {room:.1} EV brighter, by a longer time or a wider f-stop: the highlights have room for it (a higher ISO \
             gathers no more light)"
        );
        let remedy = match severity {
            Severity::Note => brighter,
            _ if self.metered.is_some_and(|m| m >= limits.borderline) => {
                format!("{brighter}{}{}", self.merge(self.lifted), or_print_smaller(self.case))
            }
            // The light that is missing first: a cleaner mid-tone alone would leave the frame as dark.
            _ if room >= WORTH_EV => {
                let iso = self.metered.and_then(|m| self.lower_iso(m));
                let iso = iso.map_or(String::new(), |iso| {
                    format!(
                        "; for clean mid-tones go down to about ISO {iso:.0} or lower as well, with still longer times"
                    )
                });
                format!("{brighter}{iso}{}{}", self.merge(self.lifted), or_print_smaller(self.case))
            }
            _ => self.less_noise(self.lifted),
        };
        (text, remedy)
    }

    /// Frames to merge: the variance of their mean falls by their number, photon and read noise alike.
    fn merge(&self, snr: f64) -> String {
        let frames = (self.limits.borderline / snr).powi(2).ceil().max(2.0);
        if frames <= 16.0 { format!(", or merge {frames:.0} frames of a still subject") } else { String::new() }
    }

    /// Times the light of a longer exposure that the mid-tones need, from photon noise and the frame's own read noise (as
    /// the read noise of a lower ISO is not known, in electrons it counts as the same).
    fn light(&self, snr: f64) -> f64 {
        let of_noise = |n: &Noise| Some(n.read_noise_dn? * n.gain_e_per_dn?);
        let m = self.case.measures;
        let read_e = m.and_then(|m| of_noise(&m.noise).or_else(|| green(m)?.read_noise_e)).and_then(known);
        let read_e = read_e.filter(|r| *r > 0.0).unwrap_or(0.0);
        let averaged = self.case.ppi().map_or(1.0, |ppi| pixels_averaged(self.case.paper.seen.finest_mm, ppi));
        let signal = |snr: f64| signal_for_snr(snr, read_e, averaged);
        signal(self.limits.borderline) / signal(snr)
    }

    /// The ISO at which mid-tones of this ratio would have been clean enough.
    fn lower_iso(&self, snr: f64) -> Option<f64> {
        self.iso.and_then(|iso| optics::iso_not_above(iso / self.light(snr)).filter(|n| *n < iso))
    }

    /// What gives cleaner mid-tones than `snr`: more light, and so a lower ISO.
    fn less_noise(&self, snr: f64) -> String {
        let way = match self.lower_iso(snr) {
            Some(lower) => format!("About ISO {lower:.0} or lower with a longer exposure or a wider f-stop"),
            None => "More light, a wider f-stop or a larger sensor".into(),
        };
        let brighter = self.case.measures.and_then(|m| m.exposure.brighter_by_ev).filter(|ev| *ev >= WORTH_EV);
        let room = brighter.map_or(String::new(), |ev| {
            format!("; there was room to expose {ev:.1} EV brighter before highlights clip")
        });
        format!("{way}{}{room}{}", self.merge(snr), or_print_smaller(self.case))
    }
}

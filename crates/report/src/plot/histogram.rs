//! Raw histogram of each plane on an EV axis, with saturation, noise floor and usable range.

use rawassay_analysis::Channel;

use super::{Axis, Chart, Role};
use crate::page::tones::{BINS, LOWEST_EV, PlaneHistogram, STEP_EV};
use crate::page::units::number;

/// What is marked in the histogram.
#[derive(Debug, Clone, Copy, Default)]
pub struct Marks {
    /// log2(saturation / read noise), EV.
    pub engineering_ev: Option<f64>,
    /// Usable range by the brief, EV.
    pub usable_ev: Option<f64>,
}

/// The plot. Bins are shares of the plane's samples above black.
#[must_use]
pub fn svg(histograms: &[PlaneHistogram], channels: &[Channel], marks: Marks) -> String {
    let share = |h: &PlaneHistogram| -> Vec<f64> {
        let total = h.total().max(1) as f64;
        (0..BINS).map(|bin| 100.0 * h.count(bin) as f64 / total).collect()
    };
    let shares: Vec<Vec<f64>> = histograms.iter().map(share).collect();
    let at_zero = (-LOWEST_EV / STEP_EV) as usize;
    // The pile-up at saturation may stand far above the rest; it is allowed to touch the top.
    let most = shares.iter().flat_map(|s| s[..at_zero.min(s.len())].iter().copied()).fold(0.5, f64::max) * 1.1;
    let lowest_used = shares
        .iter()
        .flat_map(|s| s.iter().position(|&v| v > 0.005))
        .min()
        .map_or(-12.0, |bin| LOWEST_EV + bin as f64 * STEP_EV);
    let deepest = marks.engineering_ev.unwrap_or(0.0).max(marks.usable_ev.unwrap_or(0.0));
    let from = lowest_used.min(-deepest - 0.5).clamp(LOWEST_EV, -6.0).floor();

    let mut said: Vec<String> = Vec::new();
    for (channel, shares) in channels.iter().zip(&shares) {
        let fullest = (0..shares.len()).max_by(|&a, &b| shares[a].total_cmp(&shares[b])).unwrap_or(0);
        said.push(format!(
            "{}: most samples about {} EV, {} % clipped",
            channel.name,
            number(LOWEST_EV + (fullest as f64 + 0.5) * STEP_EV),
            number(channel.clipped_pct)
        ));
    }
    if let Some(ev) = marks.engineering_ev {
        said.push(format!("noise floor {} EV below saturation", number(ev)));
    }
    if let Some(ev) = marks.usable_ev {
        said.push(format!("usable down to {} EV below saturation", number(ev)));
    }
    let mut chart = Chart::new(
        "Raw histogram by colour filter",
        said.join("; "),
        Axis::new("EV below saturation", from..0.5, 9),
        Axis::new("samples per 1/8 EV, %", 0.0..most, 5),
    );
    if let Some(ev) = marks.usable_ev {
        chart.band(Role::Usable, -ev, 0.0);
    }
    for (histogram, shares) in histograms.iter().zip(&shares) {
        let points = shares
            .iter()
            .enumerate()
            .map(|(bin, &share)| (LOWEST_EV + (bin as f64 + 0.5) * STEP_EV, share))
            .filter(|p| p.0 >= from)
            .collect();
        chart.line(Role::of_plane(&histogram.name), points);
    }
    chart.upright(Role::Limit, 0.0, "saturation");
    if let Some(ev) = marks.engineering_ev {
        chart.upright(Role::Floor, -ev, "noise floor");
    }
    if let Some(ev) = marks.usable_ev {
        chart.upright(Role::Fit, -ev, "usable from here");
    }
    chart.svg()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::page::testing::{channels, flat_frame};
    use crate::page::tones;
    use crate::plot::reading::{Reading, near};
    use rawassay_decode::FilterArray;

    #[test]
    fn marks_and_peaks_stand_where_the_numbers_say() {
        let frame = flat_frame(FilterArray::bayer("RGGB").unwrap(), 64, 64, 1075);
        let channels = channels(&frame, Some(2.0));
        let tones = tones::read(&frame, &channels).unwrap();
        let svg = svg(&tones.histograms, &channels, Marks { engineering_ev: Some(10.93), usable_ev: Some(8.4) });
        let plot = Reading::of(&svg);
        near(plot.x_of_upright("s-limit"), 0.0, 0.02);
        near(plot.x_of_upright("s-floor"), -10.93, 0.02);
        near(plot.x_of_upright("s-fit"), -8.4, 0.02);
        // All samples in one bin: 975 of 3900 above black is a quarter, -2 EV; its bin is -2.0 .. -1.875.
        for role in ["s-red", "s-green", "s-green2", "s-blue"] {
            let curve = plot.curve(role);
            let peak = curve.iter().copied().fold((0.0, 0.0), |a, b| if b.1 > a.1 { b } else { a });
            near(peak.0, -1.9375, 0.02);
            near(peak.1, 100.0, 1.0);
        }
        assert!(svg.contains("usable down to 8.4 EV below saturation"));
    }
}

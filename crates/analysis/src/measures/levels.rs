//! Tonal extent of the frame from its histograms: floor, scene range, room for a brighter exposure.
//!
//! Source: own derivation, docs/measures.md.

use rawassay_decode::Frame;

use super::flat_blocks::Blocks;
use super::histogram::Histogram;
use super::saturation::{RoughNoise, Saturation};
use super::{Channel, SaturationFrom};

/// Share of the samples that may be specular spots (reflections of lamps and sun): they are allowed to clip.
const SPECULAR: f64 = 0.001;

/// Furthest that an overexposure is estimated, EV: beyond it nothing in the frame tells.
pub(crate) const FURTHEST_OVER_EV: f64 = 3.0;

/// A first idea of photon noise, from the blocks of the middle tones with the least variance for their level, as far as
/// they hold no structure: blocks with edges in them would make it too large.
pub(crate) fn rough_noise(frame: &Frame, blocks: &Blocks) -> RoughNoise {
    let Some(shape) = &blocks.shape else { return RoughNoise::Unknown };
    let mut ratios: Vec<(f64, usize)> = Vec::new();
    for (block, stats) in blocks.stats.chunks_exact(shape.planes).enumerate() {
        for (s, l) in stats.iter().zip(&frame.levels) {
            let mean = f64::from(s.mean) - l.black_dn;
            let span = l.white_declared_dn - l.black_dn;
            if mean > 0.01 * span && mean < 0.5 * span {
                ratios.push((f64::from(s.variance) / mean, block));
            }
        }
    }
    if ratios.len() < 24 {
        return RoughNoise::Unknown;
    }
    let few = (ratios.len() / 8).clamp(23, 400);
    ratios.select_nth_unstable_by(few, |a, b| a.0.total_cmp(&b.0));
    ratios.truncate(few);
    if ratios.iter().filter(|r| r.0 <= 0.0).count() > few / 4 {
        return RoughNoise::Absent;
    }
    let mut left = vec![0.0; shape.side * shape.side];
    let mut clean: Vec<f64> = ratios
        .iter()
        .filter(|&&(_, block)| {
            let stats = &blocks.stats[block * shape.planes..][..shape.planes];
            shape.residuals(frame, blocks.corners[block], stats, &mut left)
                && shape.correlations(&left).iter().all(|c| c.abs() < 3.5)
        })
        .map(|r| r.0)
        .collect();
    if clean.len() < 12 {
        return RoughNoise::Unknown;
    }
    clean.sort_by(f64::total_cmp);
    RoughNoise::Slope(clean[clean.len() / 2])
}

/// The lowest code, where shadows pile up on it (a file whose black is clipped at zero).
pub(crate) fn floor_pile(hist: &Histogram) -> Option<f64> {
    let lowest = hist.lowest()?;
    let counts = hist.counts();
    let pile = counts[lowest];
    let above = counts.iter().skip(lowest + 1).take(8).copied().max().unwrap_or(0);
    // At code zero any pile is the converter's floor; higher up it has to stand out.
    (lowest == 0 && pile > 8 || pile > 100 && pile > 2 * above).then_some(lowest as f64)
}

/// Cautions about levels.
pub(crate) fn notes(frame: &Frame, hists: &[Histogram], found: &[Saturation], notes: &mut Vec<String>) {
    // Planes of which the same is to be said share a line.
    let mut said: Vec<(Vec<&str>, String)> = Vec::new();
    for (p, s) in found.iter().enumerate() {
        let (name, white) = (frame.filter.planes[p].name.as_str(), frame.levels[p].white_declared_dn);
        let what = if s.white_too_low {
            format!(
                "tones reach {:.0} DN, above the declared white level {white:.0}, without piling up; the highest one is \
                 taken as saturation",
                s.level_dn
            )
        } else if s.from == SaturationFrom::Observed && (s.level_dn / white - 1.0).abs() > 0.01 {
            format!("clipped at {:.0} DN, not at the declared white level {white:.0}", s.level_dn)
        } else {
            continue;
        };
        match said.iter_mut().find(|(_, other)| *other == what) {
            Some((names, _)) => names.push(name),
            None => said.push((vec![name], what)),
        }
    }
    notes.extend(said.into_iter().map(|(names, what)| format!("{}: {what}", names.join(", "))));
    if hists.iter().any(|h| h.total() == 0) {
        notes.push("the picture area holds no samples of some planes".into());
    }
}

/// log2 of the 99.5 over the 0.5 percentile of the leading planes above black, EV. Tones below one read noise (or half
/// a DN where that is unknown) cannot be told from black: the range is then a lower bound, and a note says so. With it, how
/// far the 0.5 percentile lies below saturation, EV.
pub(crate) fn scene_range(
    main: &[usize],
    hists: &[Histogram],
    channels: &[Channel],
    read_noise_dn: Option<f64>,
    notes: &mut Vec<String>,
) -> Option<(f64, f64)> {
    let n = main.len() as f64;
    let mean = |q: f64| -> Option<f64> {
        main.iter().map(|&p| hists[p].quantile(q).map(|v| (v - channels[p].black_dn) / n)).sum()
    };
    let (dark, light) = (mean(0.005)?, mean(0.995)?);
    let least = read_noise_dn.unwrap_or(0.5).max(0.5);
    if light <= least {
        notes.push("scene range: not measurable, no tone stands above black".into());
        return None;
    }
    if dark < least {
        notes.push("scene range: at least; the darkest tones lie within the noise at black".into());
    }
    let clipped = main.iter().any(|&p| channels[p].clipped_pct > 0.5);
    if clipped {
        notes.push("scene range: at least; the lightest tones are clipped".into());
    }
    let range = main.iter().map(|&p| channels[p].saturation_dn - channels[p].black_dn).sum::<f64>() / n;
    let below = |level: f64| super::known((level / dark.max(least)).log2().max(0.0));
    Some((below(light)?, below(range)?))
}

/// Mean of the leading planes above black, over saturation; a clipped sample counts as saturation.
pub(crate) fn mean_share(main: &[usize], hists: &[Histogram], channels: &[Channel]) -> Option<f64> {
    let share = |p: usize| {
        let c = &channels[p];
        let range = c.saturation_dn - c.black_dn;
        hists[p].mean().filter(|_| range > 0.0).map(|mean| (mean - c.black_dn) / range)
    };
    Some(main.iter().map(|&p| share(p)).sum::<Option<f64>>()? / main.len().max(1) as f64)
}

/// An overexposure of less is nought as it is shown, and no word is lost on how it was estimated, EV.
const TOLD_EV: f64 = 0.05;

/// Room for a brighter exposure.
pub(crate) struct Room {
    /// EV, negative where overexposed; unknown where nothing tells how far.
    pub(crate) ev: Option<f64>,
    /// The same, as dark as it may be, for what asks only whether the frame is too dark.
    pub(crate) at_least_ev: Option<f64>,
}

/// Tones fall off towards saturation at least at this share of the pace half an EV below it: a lamp's, which do not, tell nothing
/// of what lies beyond.
const FALLS_ON: f64 = 0.8;
/// Greatest difference between the two ways to carry the tones on: to fall by the same share with every EV, and to end soon, EV.
const ENDS_APART_EV: f64 = 1.0;

/// What the room was read from.
#[derive(Clone, Copy)]
enum Source {
    Clear,
    OtherColours,
    Tones,
}

/// EV by which the exposure could have been brighter before more than specular spots clip, least of the planes.
///
/// Where more than that is clipped already, the overexposure is estimated, and a note says so: by a colour that is not
/// clipped there (`beyond`, which gives EV for a plane and the share of its clipped samples that are spared), else the share
/// of samples above a level is carried on beyond saturation as it falls over the last EV below it: as far as it can be, for
/// tones end. Where that would lead further than 3 EV, an end as soon as the last half EV lets expect is far from it, or they
/// fall off ever less, nothing tells how far.
pub(crate) fn brighter_by(
    hists: &[Histogram],
    channels: &[Channel],
    beyond: impl Fn(usize, f64) -> Option<f64>,
    notes: &mut Vec<String>,
) -> Room {
    let mut rooms: Vec<(f64, Source)> = Vec::new();
    let mut unknown: Vec<String> = Vec::new();
    for (p, (h, c)) in hists.iter().zip(channels).enumerate() {
        let range = c.saturation_dn - c.black_dn;
        let share = c.clipped_pct / 100.0;
        if range <= 0.0 {
            continue;
        }
        if share <= SPECULAR {
            let light = h.quantile(1.0 - SPECULAR).map(|v| v - c.black_dn).filter(|&v| v > 0.0);
            rooms.extend(light.map(|v| ((range / v).log2().max(0.0), Source::Clear)));
            continue;
        }
        let above = |ev: f64| {
            let from = (c.black_dn + range * (-ev).exp2()).round().max(0.0) as usize;
            h.between(from, usize::MAX) as f64 / h.total().max(1) as f64
        };
        // By what the share falls in each half of the last EV, ln.
        let (half, one) = (above(0.5), above(1.0));
        let (before, last) = ((one / half).ln(), (half / share).ln());
        let over = (share / SPECULAR).ln() / (before + last).max(1e-3);
        let if_it_ends = (share - SPECULAR) / (2.0 * (half - share)).max(1e-9);
        let falls_on = last > FALLS_ON * before && over - if_it_ends < ENDS_APART_EV;
        match beyond(p, SPECULAR / share) {
            // Whatever little is clipped: the tail of the tones is witness enough.
            Some(ev) if over > TOLD_EV => rooms.push((-ev.min(FURTHEST_OVER_EV), Source::OtherColours)),
            _ if over < TOLD_EV || over < FURTHEST_OVER_EV && falls_on => {
                rooms.push((-over, Source::Tones));
            }
            _ => unknown.push(format!("{} {:.1} %", c.name, c.clipped_pct)),
        }
    }
    let least = rooms.into_iter().reduce(|a, b| if b.0 < a.0 { b } else { a });
    if !unknown.is_empty() {
        notes.push(format!(
            "brighter_by_ev: unknown; nothing tells how far what is clipped ({}) lies beyond saturation: neither a colour that is \
             not clipped there nor the tones below",
            unknown.join(", ")
        ));
    } else if let Some((ev, source)) = least
        && ev < -TOLD_EV
    {
        let from = match source {
            Source::OtherColours => "from the colours that are not clipped there, 3 EV at the most",
            Source::Tones | Source::Clear => "from how the tones below saturation fall off, and may be too much",
        };
        notes.push(format!(
            "brighter_by_ev: more than 0.1 % of a plane is clipped, light sources counted as well; how much less light would \
             have left 0.1 % is estimated {from}"
        ));
    }
    let least = least.map(|l| l.0);
    let at_least_ev = if unknown.is_empty() { least } else { Some(0.0) };
    Room {
        ev: least.filter(|_| unknown.is_empty()).and_then(super::known),
        at_least_ev: at_least_ev.and_then(super::known),
    }
}

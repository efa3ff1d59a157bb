//! A frame becomes its measures: levels, then noise, range, sharpness and the small picture, sharing passes.

use rawassay_decode::{Colour, Frame};

use crate::lift;
use crate::measures::clipping::{Floor, Thresholds, clipping};
use crate::measures::flat_blocks::{Blocks, Usable};
use crate::measures::glow;
use crate::measures::histogram::{Histogram, histograms, picture_area};
use crate::measures::hot_pixels;
use crate::measures::levels;
use crate::measures::masked;
use crate::measures::noise;
use crate::measures::overexposed;
use crate::measures::plane_noise::PlaneNoise;
use crate::measures::saturation::{self, Saturation};
use crate::measures::settle;
use crate::measures::sharpness::measure_sharpness;
use crate::measures::{Channel, Exposure, Measures, Noise, known};
use crate::range::{self, MIDTONE_SHARE, decibels, engineering_ev};

/// Measures one frame. Reads nothing but the frame, uses one thread, gives the same for the same frame; what cannot be
/// measured is `None` with a reason in the notes. It does not panic on any frame whose parts fit together.
#[must_use]
pub fn measure(frame: &Frame) -> Measures {
    let area = picture_area(frame);
    let mut notes = Vec::new();
    let hists = histograms(frame);
    let blocks = Blocks::measure(frame);
    let rough = levels::rough_noise(frame, &blocks);
    let saturations: Vec<Saturation> = hists
        .iter()
        .zip(&frame.levels)
        .enumerate()
        .map(|(p, (h, l))| saturation::find(h, l.black_dn, l.white_declared_dn, rough, &blocks.means(p)))
        .collect();
    levels::notes(frame, &hists, &saturations, &mut notes);

    let usable: Vec<Usable> = hists
        .iter()
        .zip(&frame.levels)
        .zip(&saturations)
        .map(|((h, l), s)| Usable {
            black_dn: l.black_dn,
            floor_dn: levels::floor_pile(h),
            clipped_from: f64::from(s.clipped_from),
        })
        .collect();
    let masked = masked::measure(frame);
    let mut found = noise::noise(frame, &blocks, &usable, [masked.row_banding_dn, masked.column_banding_dn]);
    let picture_read: Vec<Option<f64>> = found.planes.iter().map(|p| p.read_noise_dn).collect();
    settle::settle_read_noise(frame, &mut found, &masked);
    let clipped_from: Vec<f64> = usable.iter().map(|u| u.clipped_from).collect();
    let hot = found.variances(&frame.levels).and_then(|v| {
        hot_pixels::count(frame, &clipped_from, |p, level| v[p].bounds(level)).unwrap_or_else(|why| {
            found.notes.push(why.into());
            None
        })
    });
    notes.append(&mut found.notes);

    let channels: Vec<Channel> = (0..frame.filter.planes.len())
        .map(|p| channel(frame, p, &hists[p], &saturations[p], &found.planes[p]))
        .collect();
    let main = main_planes(frame);
    let thresholds: Vec<Thresholds> = channels
        .iter()
        .zip(&saturations)
        .enumerate()
        .map(|(p, (c, s))| Thresholds {
            clipped_from: s.clipped_from,
            floor: c.read_noise_dn.map(|r| Floor::at(c.black_dn + r)),
            black_dn: c.black_dn,
            saturation_dn: c.saturation_dn,
            pictured: main.contains(&p),
        })
        .collect();
    let map = clipping(frame, &thresholds);
    let samples: Vec<f64> = hists.iter().map(|h| h.total() as f64).collect();
    let floor = |c: &[Channel]| -> Option<f64> {
        let total: f64 = samples.iter().sum();
        let at_floor = c.iter().zip(&samples).map(|(c, n)| c.floor_pct.map(|f| f * n)).sum::<Option<f64>>()?;
        known(at_floor / total)
    };
    let read_noise_dn = mean_of(main.iter().map(|&p| channels[p].read_noise_dn));
    let scene = levels::scene_range(&main, &hists, &channels, read_noise_dn, &mut notes);
    let beyond = |p: usize, spared: f64| overexposed::beyond(frame, &thresholds, p, spared);
    let brighter = levels::brighter_by(&hists, &channels, beyond, &mut notes);
    let lift_ev =
        brighter.at_least_ev.and_then(|ev| known(lift::lift_ev(ev, levels::mean_share(&main, &hists, &channels)?)));
    let exposure = Exposure {
        clipped_any_pct: map.any_pct,
        clipped_all_pct: map.all_pct,
        largest_clipped_area_pct: map.largest_pct,
        clipped_area_count: map.area_count,
        floor_pct: floor(&channels),
        headroom_ev: channels.iter().filter_map(|c| c.headroom_ev).reduce(f64::min),
        scene_range_ev: scene.map(|s| s.0),
        darkest_ev: scene.map(|s| s.1),
        brighter_by_ev: brighter.ev,
        lift_ev,
    };
    let noise = Noise {
        flat_patches: found.flat_patches,
        model_r2: found.r2,
        read_noise_dn,
        gain_e_per_dn: mean_of(main.iter().map(|&p| channels[p].gain_e_per_dn)),
        picture_read_noise_dn: mean_of(main.iter().map(|&p| picture_read[p])),
        masked_read_noise_dn: mean_of(main.iter().map(|&p| masked.read_noise_dn[p])),
        row_banding_dn: found.row_banding_dn,
        column_banding_dn: found.column_banding_dn,
        hot_pixels: hot,
        snr_midtone_db: mean_of(main.iter().map(|&p| channels[p].snr_midtone_db)),
        snr_lifted_db: lift_ev.and_then(|ev| {
            let share = MIDTONE_SHARE * (-ev).exp2();
            mean_of(main.iter().map(|&p| snr_db(&channels[p], &found.planes[p], share)))
        }),
    };
    let engineering = mean_of(main.iter().map(|&p| {
        let c = &channels[p];
        c.read_noise_dn.and_then(|r| engineering_ev(c.saturation_dn - c.black_dn, r))
    }));
    let medians: Vec<Option<f64>> = hists.iter().map(|h| h.quantile(0.5)).collect();
    // A frame without light tells no read noise by its tones, but that of its darkest blocks is just that.
    glow::notes(frame, &medians, read_noise_dn.or(found.dark_noise_dn), &mut notes);
    let sharp = measure_sharpness(frame, &channels);
    notes.extend(sharp.notes);
    Measures {
        active_px: [area.x, area.y, area.width, area.height],
        channels,
        exposure,
        noise,
        engineering_ev: engineering,
        sharpness: sharp.sharpness,
        blur: sharp.blur,
        clipping: map.map,
        likeness: map.likeness,
        notes,
    }
}

/// The planes that stand for the frame: green, else the only one, else all (arrays without green have none that leads).
pub(crate) fn main_planes(frame: &Frame) -> Vec<usize> {
    let planes = &frame.filter.planes;
    let green: Vec<usize> = (0..planes.len()).filter(|&p| planes[p].colour == Colour::Green).collect();
    if green.is_empty() { (0..planes.len()).collect() } else { green }
}

/// Mean of what is known.
fn mean_of(values: impl Iterator<Item = Option<f64>>) -> Option<f64> {
    let (sum, n) = values.flatten().fold((0.0, 0.0), |(sum, n), v| (sum + v, n + 1.0));
    if n > 0.0 { known(sum / n) } else { None }
}

fn channel(frame: &Frame, p: usize, hist: &Histogram, saturation: &Saturation, noise: &PlaneNoise) -> Channel {
    let levels = &frame.levels[p];
    let range = saturation.level_dn - levels.black_dn;
    let total = hist.total() as f64;
    let above = |q: f64| hist.quantile(q).map(|v| v - levels.black_dn).filter(|&v| v > 0.0 && range > 0.0);
    let read_noise_dn = noise.read_noise_dn;
    let gain = noise.gain_e_per_dn;
    let full_well_e = gain.map(|g| g * range).filter(|&w| w > 0.0);
    let read_noise_e = gain.zip(read_noise_dn).map(|(g, r)| g * r);
    let floor_pct = read_noise_dn.filter(|_| total > 0.0).map(|r| 100.0 * Floor::at(levels.black_dn + r).share(hist));
    let mut channel = Channel {
        name: frame.filter.planes[p].name.clone(),
        black_dn: levels.black_dn,
        black_from: levels.black_from,
        white_declared_dn: levels.white_declared_dn,
        saturation_dn: saturation.level_dn,
        saturation_from: saturation.from,
        clipped_pct: if total > 0.0 { 100.0 * saturation.clipped / total } else { 0.0 },
        floor_pct,
        headroom_ev: above(0.999).and_then(|v| known((range / v).log2().max(0.0))),
        median_ev: above(0.5).and_then(|v| known((range / v).log2().max(0.0))),
        gain_e_per_dn: gain,
        read_noise_dn,
        read_noise_e,
        full_well_e,
        snr_midtone_db: None,
    };
    channel.snr_midtone_db = snr_db(&channel, noise, MIDTONE_SHARE);
    channel
}

/// Signal-to-noise of one pixel at a share of saturation, dB: by gain and read noise, else straight from the patches.
/// Where read noise is unknown and the tone so dark that it would count, the patches come first.
fn snr_db(channel: &Channel, noise: &PlaneNoise, share: f64) -> Option<f64> {
    let from_patches = || noise.snr_at(share * (channel.saturation_dn - channel.black_dn));
    let from_gain = || range::snr_at(channel, share, 1.0);
    let dark = share < 0.5 * MIDTONE_SHARE && channel.read_noise_e.is_none();
    let ratio = if dark { from_patches().or_else(from_gain) } else { from_gain().or_else(from_patches) };
    ratio.and_then(decibels)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::measures::SaturationFrom;
    use crate::test_frames::{Noise as Random, Sensor};
    use rawassay_decode::{Area, FilterArray};

    /// Steps of light from dark to bright, by tiles of 80 pixels.
    fn steps(x: usize, y: usize, top: f64) -> f64 {
        let i = (x / 80 * 7 + y / 80 * 13) % 23;
        top * 2_f64.powf(-0.4 * i as f64)
    }

    #[test]
    fn a_chart_of_steps_gives_back_its_sensor() {
        for (filter, gain, read_noise) in [
            (FilterArray::bayer("RGGB").unwrap(), 2.0, 3.0),
            (FilterArray::bayer("GBRG").unwrap(), 0.5, 1.6),
            (FilterArray::monochrome(), 2.0, 2.5),
            (FilterArray::mosaic(6, 6, "GBGGRGRGRBGBGBGGRGGRGGBGBGBRGRGRGGBG").unwrap(), 1.0, 3.0),
        ] {
            let sensor = Sensor { filter, gain, read_noise, width: 1_024, height: 768, ..Sensor::default() };
            let m = measure(&sensor.shoot(|x, y, p| steps(x, y, 5_000.0 * gain) * [0.6, 1.0, 1.0, 0.7][p]));
            for c in &m.channels {
                let (g, r) = (c.gain_e_per_dn.unwrap(), c.read_noise_e.unwrap());
                assert!((g / gain - 1.0).abs() < 0.04, "gain {g} for {gain}: {m:?}");
                assert!((r / read_noise - 1.0).abs() < 0.15, "read noise {r} for {read_noise}");
                let full_well = gain * (16_383.0 - 512.0);
                assert!((c.full_well_e.unwrap() / full_well - 1.0).abs() < 0.04);
            }
            assert!((m.engineering_ev.unwrap() - f64::log2((16_383.0 - 512.0) * gain / read_noise)).abs() < 0.2);
        }
    }

    #[test]
    fn clipped_areas_are_sized_and_placed() {
        for phase in ["RGGB", "GRBG", "GBRG", "BGGR"] {
            let sensor = Sensor { filter: FilterArray::bayer(phase).unwrap(), limit: 15_000.0, ..Sensor::default() };
            let mut frame = sensor.shoot(|x, y, _| {
                let bright = (101..181).contains(&x) && (61..121).contains(&y) || x >= 401 && y >= 301 && x < 421;
                if bright { 60_000.0 } else { 400.0 + 20.0 * (x as f64) }
            });
            frame.active = Area::new(1, 1, 510, 382);
            let m = measure(&frame);
            for c in &m.channels {
                assert_eq!((c.saturation_dn, c.saturation_from), (15_000.0, SaturationFrom::Observed));
            }
            let truth = 100.0 * (80.0 * 60.0 + 20.0 * 82.0) / (510.0 * 382.0);
            assert!((m.exposure.clipped_all_pct - truth).abs() < 0.15, "{}", m.exposure.clipped_all_pct);
            assert!((m.exposure.clipped_any_pct - truth).abs() < 0.15, "{}", m.exposure.clipped_any_pct);
            assert_eq!(m.exposure.clipped_area_count, 2);
            let first = &m.clipping.areas[0];
            assert!((first.box_px[0] as i64 - 101).abs() <= 2 && (first.box_px[2] as i64 - 80).abs() <= 4, "{first:?}");
            assert!((m.exposure.largest_clipped_area_pct - 100.0 * 4_800.0 / (510.0 * 382.0)).abs() < 0.15);
            assert_eq!((m.clipping.cols, m.clipping.rows), (32, 24));
            assert_eq!((m.likeness.cols, m.likeness.rows), (32, 24));
        }
    }

    #[test]
    fn a_brighter_exposure_moves_the_small_picture_by_a_constant() {
        let sensor = Sensor { read_noise: 1.0, ..Sensor::default() };
        let one = measure(&sensor.shoot(|x, y, _| 200.0 + 4.0 * (x + y) as f64)).likeness;
        let two = measure(&sensor.shoot(|x, y, _| 2.0 * (200.0 + 4.0 * (x + y) as f64))).likeness;
        for (a, b) in one.below_saturation.iter().zip(&two.below_saturation) {
            assert!((i32::from(*a) - i32::from(*b) - 16).abs() <= 1, "{a} {b}");
        }
    }

    #[test]
    fn room_for_a_brighter_exposure_is_that_of_the_brightest_plane() {
        let sensor = Sensor::default();
        let full_well = 2.0 * (16_383.0 - 512.0);
        let m = measure(&sensor.shoot(|x, _, p| full_well * [0.1, 0.25, 0.25, 0.2][p] * (x as f64 / 511.0)));
        let room = m.exposure.brighter_by_ev.unwrap();
        assert!((room - 2.0).abs() < 0.1, "{room}");
        assert!((m.exposure.headroom_ev.unwrap() - room).abs() < 1e-9);
        // Tones that end half an EV above saturation, where 0.7 % lie: the last EV below does not tell that from 2 EV and more.
        let ends = measure(&sensor.shoot(|x, y, _| full_well * 1.5 * ((384 * x + y) as f64 / 196_607.0).powi(60)));
        assert_eq!(ends.exposure.brighter_by_ev, None);
        // Tones that fall off to a third with every EV, as far as they go: 0.5 % lie above saturation, and 0.1 % 1.46 EV above.
        let steady = measure(&sensor.shoot(|x, y, _| {
            let rank = ((x / 2 * 7919 + y / 2 * 104_729) % 100_003) as f64 / 100_003.0;
            full_well * (0.005 / rank.max(1e-6)).powf(std::f64::consts::LN_2 / 3.0_f64.ln())
        }));
        let ev = steady.exposure.brighter_by_ev.unwrap();
        assert!((ev + 1.46).abs() < 0.25, "{ev}");
        let told = |m: &Measures| m.notes.iter().any(|n| n.contains("more than 0.1 % of a plane is clipped"));
        assert!(told(&steady) && !told(&m));
        // Just more than one sample in a thousand (27 % of one column in 256 of a plane): the estimate is nought as it is
        // shown, and no overexposure is told.
        let rows = (0.27 * m.active_px[3] as f64) as usize;
        let spots = |x: usize, y: usize| if x == 0 && y < rows { 1.5 } else { 0.9 * (x as f64 / 511.0) };
        let just = measure(&sensor.shoot(|x, y, _| full_well * spots(x, y)));
        let ev = just.exposure.brighter_by_ev.unwrap();
        assert!((-0.05..0.0).contains(&ev) && !told(&just), "{ev}");
    }

    #[test]
    fn planes_that_clip_at_one_level_share_a_note() {
        let sensor = Sensor { limit: 4_000.0, ..Sensor::default() };
        let notes = measure(&sensor.shoot(|x, _, p| if p == 3 { 500.0 } else { 20.0 * x as f64 })).notes;
        let told: Vec<&String> = notes.iter().filter(|n| n.contains("clipped at")).collect();
        assert_eq!(told, ["R, G1, G2: clipped at 4000 DN, not at the declared white level 16383"]);
    }

    #[test]
    fn a_smoothed_frame_is_given_no_gain() {
        let sensor = Sensor { width: 1_024, height: 768, ..Sensor::default() };
        let frame = sensor.shoot(|x, y, _| steps(x, y, 10_000.0));
        let mut smooth = frame.clone();
        let (w, h) = (frame.width, frame.height);
        for y in 2..h - 2 {
            for x in 2..w - 2 {
                let at = |dx: usize, dy: usize| f64::from(frame.samples[(y + dy - 2) * w + x + dx - 2]);
                let v = 0.5 * at(2, 2) + 0.125 * (at(0, 2) + at(4, 2) + at(2, 0) + at(2, 4));
                smooth.samples[y * w + x] = v.round() as u16;
            }
        }
        let m = measure(&smooth);
        assert!(m.channels.iter().all(|c| c.gain_e_per_dn.is_none() && c.read_noise_dn.is_none()));
        assert!(m.notes.iter().any(|n| n.contains("smoothed")), "{:?}", m.notes);
        let mut dithered = frame;
        dithered.dithered = true;
        assert!(measure(&dithered).noise.gain_e_per_dn.is_none());
    }

    #[test]
    fn degenerate_frames_give_honest_nulls() {
        let arrays = [
            FilterArray::bayer("RGGB").unwrap(),
            FilterArray::monochrome(),
            FilterArray::linear_rgb(),
            FilterArray::mosaic(6, 6, "GBGGRGRGRBGBGBGGRGGRGGBGBGBRGRGRGGBG").unwrap(),
            FilterArray::mosaic(2, 4, "CYGMCYMG").unwrap(),
        ];
        for filter in arrays {
            for (width, height) in [(1, 1), (2, 1), (3, 5), (33, 17), (64, 64)] {
                for level in [0.0, 512.0, 4_000.0, 16_383.0, 65_535.0] {
                    let sensor = Sensor { filter: filter.clone(), width, height, ..Sensor::default() };
                    let m = measure(&sensor.draw(|_, _, _, _| level));
                    assert!(m.noise.gain_e_per_dn.is_none() && m.engineering_ev.is_none());
                    let all = if level >= 16_383.0 { 100.0 } else { 0.0 };
                    assert_eq!(m.exposure.clipped_all_pct, all, "{width}x{height} at {level}");
                    assert!(m.exposure.clipped_any_pct <= 100.0 && m.exposure.largest_clipped_area_pct <= 100.0);
                    serde_json::to_string(&m).unwrap();
                }
            }
        }
        let mut nothing = Sensor::default().draw(|_, _, _, _| 600.0);
        nothing.active = Area::new(600, 10, 40, 40);
        assert_eq!(measure(&nothing).exposure.clipped_any_pct, 0.0);
        let mut random = Random::new(3);
        let m = measure(&Sensor::default().draw(|_, _, _, _| (65_535.0 * random.uniform()).round()));
        assert!(m.channels.iter().all(|c| c.clipped_pct <= 100.0));
    }
}

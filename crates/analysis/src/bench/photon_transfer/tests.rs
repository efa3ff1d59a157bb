//! Closed forms, and sets that do not belong together.

#![allow(clippy::unwrap_used)]
use rawassay_decode::FilterArray;

use super::*;
use crate::test_frames::Sensor;

fn frame(sensor: &Sensor, seed: u64, level_e: f64, shutter_s: f64) -> Frame {
    let sensor = Sensor { seed, ..sensor.clone() };
    let mut frame = sensor.shoot(|x, _, p| level_e * [0.6, 1.0, 1.0, 0.7][p] * (1.0 - 1e-4 * x as f64));
    frame.shot.shutter_s = Some(shutter_s);
    frame
}

fn set(sensor: &Sensor) -> Collector {
    let mut collector = Collector::new();
    for k in 0..4 {
        collector.add(&format!("dark{k}"), frame(sensor, 900 + k, 0.0, 0.01), Kind::Dark).unwrap();
    }
    let top = sensor.gain * (sensor.limit - sensor.black);
    for k in 1..=12_u32 {
        let share = f64::from(k) / 8.0;
        for i in 0..2 {
            let shot = frame(sensor, u64::from(10 * k + i), top * share, 0.1 * share);
            collector.add(&format!("flat{k}-{i}"), shot, Kind::Flat).unwrap();
        }
    }
    collector
}

#[test]
fn a_simulated_set_gives_back_its_sensor_within_one_per_cent() {
    for (gain, read_noise, limit) in [(2.0, 3.0, 15_000.0), (0.4, 2.0, 16_383.0)] {
        let sensor = Sensor { gain, read_noise, limit, width: 700, height: 500, ..Sensor::default() };
        let found = set(&sensor).finish().unwrap();
        assert_eq!((found.flat_pairs, found.dark_pairs), (12, 2));
        for c in &found.channels {
            assert!((c.gain_e_per_dn / gain - 1.0).abs() < 0.01, "{c:?}");
            assert!((c.read_noise_e.unwrap() / read_noise - 1.0).abs() < 0.012, "{c:?}");
            let full_well = gain * (limit - sensor.black);
            if c.saturation_from == "observed" {
                assert!((c.full_well_e.unwrap() / full_well - 1.0).abs() < 0.015, "{c:?}");
            }
            assert!(c.fit_r2 > 0.999 && c.linearity_error_pct.unwrap() < 0.5);
        }
        assert!(found.channels.iter().filter(|c| c.saturation_from == "observed").count() >= 2);
    }
}

/// What repeats of one set scatter by is what a single one says of itself.
#[test]
fn standard_errors_are_those_of_repeats() {
    let sensor = Sensor { gain: 1.5, read_noise: 4.0, width: 160, height: 120, ..Sensor::default() };
    let top = sensor.gain * (sensor.limit - sensor.black);
    let repeats: Vec<SensorChannel> = (0..40_u64)
        .map(|repeat| {
            let mut collector = Collector::new();
            for k in 0..4 {
                let dark = frame(&sensor, 10_000 * repeat + k, 0.0, 0.01);
                collector.add(&format!("dark{k}"), dark, Kind::Dark).unwrap();
            }
            for k in 1..=7_u32 {
                let share = f64::from(k) / 8.0;
                for i in 0..2 {
                    let seed = 10_000 * repeat + u64::from(100 + 10 * k + i);
                    let shot = frame(&sensor, seed, top * share, 0.1 * share);
                    collector.add(&format!("flat{k}-{i}"), shot, Kind::Flat).unwrap();
                }
            }
            collector.finish().unwrap().channels.swap_remove(1)
        })
        .collect();
    for (name, read) in [
        ("gain", (|c| (c.gain_e_per_dn, c.gain_se_e_per_dn)) as fn(&SensorChannel) -> (f64, f64)),
        ("read noise", |c| (c.read_noise_e.unwrap(), c.read_noise_se_e.unwrap())),
        ("range", |c| (c.engineering_ev.unwrap(), c.engineering_se_ev.unwrap())),
    ] {
        let values: Vec<(f64, f64)> = repeats.iter().map(read).collect();
        let n = values.len() as f64;
        let mean = values.iter().map(|v| v.0).sum::<f64>() / n;
        let seen = (values.iter().map(|v| (v.0 - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
        let told = (values.iter().map(|v| v.1 * v.1).sum::<f64>() / n).sqrt();
        // A spread of 40 repeats is itself known within 11 %.
        assert!((0.7..1.6).contains(&(told / seen)), "{name}: told {told}, seen {seen}");
    }
}

#[test]
fn sets_that_do_not_belong_together_are_refused() {
    let sensor = Sensor { width: 200, height: 150, ..Sensor::default() };
    let message = |change: &dyn Fn(&mut Frame), kind| {
        let mut collector = set(&sensor);
        let mut other = frame(&sensor, 77, 5_000.0, 3.0);
        change(&mut other);
        match collector.add("odd", other, kind) {
            Err(e) => e.to_string(),
            Ok(()) => collector.finish().map(|_| String::new()).unwrap_or_else(|e| e.to_string()),
        }
    };
    assert!(message(&|f| f.shot.iso = Some(800.0), Kind::Flat).contains("another ISO"));
    assert!(message(&|f| f.shot.model = Some("else".into()), Kind::Flat).contains("another camera"));
    assert!(message(&|f| f.filter = FilterArray::bayer("BGGR").unwrap(), Kind::Flat).contains("filter array"));
    assert!(message(&|f| f.levels[1].white_declared_dn = 4_095.0, Kind::Flat).contains("levels"));
    assert!(message(&|f| f.levels[2].black_dn -= 384.0, Kind::Flat).contains("levels"));
    assert!(message(&|_| (), Kind::Flat).contains("no other flat"));
    assert!(message(&|_| (), Kind::Dark).contains("holds light"));
    assert!(message(&|f| f.dithered = true, Kind::Flat).contains("curve"));
    assert!(message(&|f| f.filter = FilterArray::linear_rgb(), Kind::Flat).contains("interpolated"));
    assert!(Collector::new().finish().unwrap_err().to_string().contains("no frames"));
}

/// A bench: a sensor under an even light that falls off to the corners, its photosites' ends and patterns as told.
struct Bench {
    sensor: Sensor,
    /// Electrons that a photosite holds, and how much they differ (share).
    well: (f64, f64),
    /// Full gradually: from four fifths of the well on.
    soft: bool,
    /// Light through the filters, by plane.
    colours: [f64; 4],
    /// Difference in light within a pair (share).
    flicker: f64,
    /// Share of light that is left in every other stripe of 17 columns.
    stripes: f64,
    /// Spread of the photosites' dark level and of the rows', electrons.
    pattern: (f64, f64),
    pattern_seed: u64,
    /// Rise of the dark level to the right rim, electrons, by plane.
    glow: [f64; 4],
    /// Light or dark current in every frame, electrons.
    dark_e: f64,
}

impl Bench {
    fn of(filter: &str, gain: f64, read_noise: f64) -> Self {
        let colours = if filter == "W" { [1.0; 4] } else { [0.6, 1.0, 1.0, 0.75] };
        let filter = if filter == "W" { FilterArray::monochrome() } else { FilterArray::bayer(filter).unwrap() };
        let sensor = Sensor { filter, gain, read_noise, width: 360, height: 280, ..Sensor::default() };
        Self {
            sensor,
            well: (f64::INFINITY, 0.0),
            soft: false,
            colours,
            flicker: 0.0,
            stripes: 1.0,
            pattern: (0.0, 0.0),
            pattern_seed: 99,
            glow: [0.0; 4],
            dark_e: 0.0,
        }
    }

    fn full_e(&self) -> f64 {
        self.well.0.min((self.sensor.limit - self.sensor.black) * self.sensor.gain)
    }

    /// A frame at that share of saturation (of a plane with the colour 1, in the middle).
    fn shoot(&self, seed: u64, share: f64) -> Frame {
        use crate::test_frames::Noise;
        let (mut rng, mut fixed) = (Noise::new(seed), Noise::new(self.pattern_seed));
        let (s, full) = (&self.sensor, self.full_e());
        let light = share * full * (1.0 + self.flicker * rng.normal());
        let (w, h) = (s.width as f64, s.height as f64);
        let rows: Vec<f64> = (0..s.height).map(|_| self.pattern.1 * fixed.normal()).collect();
        let mut frame = s.draw(|x, y, p, s| {
            let (dx, dy) = (x as f64 / w - 0.5, y as f64 / h - 0.5);
            let stripe = if x / 17 % 2 == 0 { 1.0 } else { self.stripes };
            let sensitivity = 1.0 + 0.006 * fixed.normal();
            let mean = light * self.colours[p] * stripe * sensitivity * (-1.2 * (dx * dx + dy * dy)).exp();
            let glow = self.glow[p] * (-(s.width as f64 - x as f64) / (0.15 * w)).exp();
            let mean = mean + glow + self.dark_e;
            let well = self.well.0 * (1.0 + self.well.1 * fixed.normal());
            let mut e = mean + mean.sqrt() * rng.normal();
            if self.soft && e > 0.8 * well {
                e = well * (0.8 + 0.2 * ((e / well - 0.8) / 0.2).tanh());
            }
            let e = e.min(well) + self.pattern.0 * fixed.normal() + rows[y] + s.read_noise * rng.normal();
            (s.black + e / s.gain).round().clamp(0.0, s.limit)
        });
        frame.shot.shutter_s = Some(if share > 0.0 { 0.01 * share } else { 0.01 });
        frame
    }

    fn found(&self, shares: &[f64], each: u64) -> Result<PhotonTransfer, TransferError> {
        self.with_darks(shares, each, 0)
    }

    fn with_darks(&self, shares: &[f64], each: u64, seed: u64) -> Result<PhotonTransfer, TransferError> {
        let mut collector = Collector::new();
        for k in 0..4 {
            collector.add(&format!("dark{k}"), self.shoot(seed + 7_000 + k, 0.0), Kind::Dark)?;
        }
        for (k, &share) in shares.iter().enumerate() {
            for i in 0..each {
                let shot = self.shoot(seed + 100 * k as u64 + i + 1, share);
                collector.add(&format!("flat{k}-{i}"), shot, Kind::Flat)?;
            }
        }
        collector.finish()
    }
}

fn near(value: Option<f64>, truth: f64, within: f64) -> bool {
    value.is_some_and(|v| (v / truth - 1.0).abs() < within)
}

/// Four flats of each level, none full: chance makes one of the brightest the noisiest, and that is no saturation.
#[test]
fn repeats_of_a_level_are_not_taken_for_saturation() {
    for (filter, gain, seed) in [("RGGB", 2.0, 0), ("GBRG", 0.5, 50_000), ("W", 4.0, 90_000)] {
        let bench = Bench { flicker: 0.003, ..Bench::of(filter, gain, 3.0) };
        let found = bench.with_darks(&[0.15, 0.3, 0.5, 0.65], 4, seed).unwrap();
        for c in &found.channels {
            assert_eq!(c.saturation_from, "declared", "{c:?}");
            assert!(near(c.full_well_e, bench.full_e(), 0.03), "{:?} of {}", c.full_well_e, bench.full_e());
        }
        assert!(found.notes.iter().any(|n| n.contains("no flat is saturated")), "{:?}", found.notes);
    }
}

/// The brightest flat is full in the middle alone, of the converter or of the photosites.
#[test]
fn a_flat_that_is_full_in_part_tells_where_saturation_is() {
    for top in [1.02, 1.05, 1.1, 1.2] {
        for (filter, gain, limit, well) in [
            ("RGGB", 2.0, 16_383.0, f64::INFINITY),
            ("GBRG", 0.7, 15_300.0, f64::INFINITY),
            ("W", 2.0, 16_383.0, 22_000.0),
        ] {
            let mut bench = Bench::of(filter, gain, 3.0);
            bench.sensor.limit = limit;
            bench.well.0 = well;
            let found = bench.found(&[0.05, 0.15, 0.3, 0.5, 0.65, 0.8, top], 2).unwrap();
            for c in &found.channels {
                assert!(
                    ["observed", "neighbours"].contains(&c.saturation_from),
                    "{top} {filter}: {}",
                    c.saturation_from
                );
                let off = c.full_well_e.unwrap() / bench.full_e() - 1.0;
                assert!(off.abs() < 0.02, "{top} {filter} {}: {off}", c.name);
            }
        }
    }
}

/// Photosites that differ leave no spike: where the flats end on the way, full well is open, and the notes ask for more.
#[test]
fn saturation_between_two_levels_is_left_open() {
    let bench = Bench { well: (22_000.0, 0.03), colours: [1.0; 4], ..Bench::of("RGGB", 2.0, 3.0) };
    let low = [0.05, 0.15, 0.3, 0.5, 0.65, 0.8];
    let found = bench.found(&[&low[..], &[1.03]].concat(), 2).unwrap();
    for c in &found.channels {
        assert!(c.full_well_e.is_none() && c.saturation_dn.is_none() && c.engineering_ev.is_none(), "{c:?}");
        assert!(near(Some(c.gain_e_per_dn), 2.0, 0.02), "{c:?}");
    }
    assert!(found.notes.iter().any(|n| n.contains("add two flats of twice the exposure")), "{:?}", found.notes);
    for c in &bench.found(&[&low[..], &[2.5]].concat(), 2).unwrap().channels {
        assert!(near(c.full_well_e, 22_000.0, 0.02), "{c:?}");
    }
}

/// Red never gets full, and near the soft end its noise is short of light's: the other planes' saturation limits its fit.
#[test]
fn a_plane_that_is_never_full_takes_its_neighbours_saturation() {
    let bench = Bench { well: (24_000.0, 0.0), soft: true, ..Bench::of("RGGB", 2.0, 3.0) };
    let found = bench.found(&[0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.85, 1.0, 1.6], 2).unwrap();
    assert_eq!(found.channels[0].saturation_from, "neighbours");
    for c in &found.channels {
        assert!(near(c.full_well_e, 24_000.0, 0.02) && near(Some(c.gain_e_per_dn), 2.0, 0.015), "{c:?}");
    }
}

/// Stripes under a flickering lamp: brought to one light, the stripes drop out.
#[test]
fn a_flickering_lamp_on_an_uneven_wall_moves_no_gain() {
    for (filter, gain, seed) in [("RGGB", 2.0, 0), ("BGGR", 0.8, 40_000), ("W", 3.0, 80_000)] {
        let bench = Bench { flicker: 0.004, stripes: 0.1, ..Bench::of(filter, gain, 3.0) };
        let found = bench.with_darks(&[0.05, 0.2, 0.4, 0.6, 2.5], 2, seed).unwrap();
        for c in &found.channels {
            assert!(near(Some(c.gain_e_per_dn), gain, 0.02) && c.fit_r2 > 0.99, "{filter} {c:?}");
            assert!(near(c.full_well_e, bench.full_e(), 0.02), "{filter} {c:?}");
        }
    }
}

/// The camera moved by some pixels within each pair: what is left of the stripes is no noise.
#[test]
fn pairs_that_moved_are_refused() {
    for filter in ["RGGB", "W"] {
        let bench = Bench { stripes: 0.1, ..Bench::of(filter, 2.0, 3.0) };
        let mut collector = Collector::new();
        for k in 0..4 {
            collector.add("dark", bench.shoot(7_000 + k, 0.0), Kind::Dark).unwrap();
        }
        for (k, share) in [0.05, 0.2, 0.4, 0.6].into_iter().enumerate() {
            for i in 0..2 {
                let mut shot = bench.shoot(10 * k as u64 + i, share);
                shot.samples.rotate_right(2 * i as usize);
                collector.add(&format!("flat{k}-{i}"), shot, Kind::Flat).unwrap();
            }
        }
        let error = collector.finish().unwrap_err().to_string();
        assert!(error.contains("does not follow") && error.contains("take them again"), "{error}");
        assert_eq!(error.lines().count(), 1);
    }
}

/// A third flat of an exposure is left out, one alone stops; too few levels name the file.
#[test]
fn an_odd_flat_is_left_out_with_a_note() {
    for (filter, gain) in [("RGGB", 2.0), ("W", 0.6)] {
        let bench = Bench::of(filter, gain, 3.0);
        let shares = [0.1, 0.3, 0.5, 1.8];
        let found = bench.found(&shares, 3).unwrap();
        assert_eq!((found.flat_pairs, found.dark_pairs), (4, 2));
        for k in 0..4 {
            assert!(
                found.notes.iter().any(|n| n.contains(&format!("flat{k}-2")) && n.contains("left out")),
                "{:?}",
                found.notes
            );
        }
        assert!(bench.found(&shares, 1).unwrap_err().to_string().contains("flat0-0: no other flat has its exposure"));
        let error = bench.found(&[0.1, 0.3, 2.5], 2).unwrap_err().to_string();
        assert!(error.starts_with("flat2-0 and the darker flats: fewer than three exposures of plane"), "{error}");
    }
}

const SHARES: [f64; 5] = [0.1, 0.25, 0.45, 0.6, 1.8];

/// Black cut at a code, rounding, or light in the dark frames: read noise is open, and the note says why.
#[test]
fn read_noise_that_the_dark_frames_do_not_tell_is_left_open() {
    let open = |bench: &Bench, words: &str| {
        let found = bench.found(&SHARES, 2).unwrap();
        for c in &found.channels {
            assert!(
                c.read_noise_e.is_none() && c.read_noise_dn.is_none() && c.engineering_ev.is_none(),
                "{words}: {c:?}"
            );
            assert!(near(Some(c.gain_e_per_dn), bench.sensor.gain, 0.03), "{words}: {c:?}");
        }
        assert!(found.notes.iter().any(|n| n.contains(words)), "{words}: {:?}", found.notes);
        found
    };
    for (filter, gain, black) in [("RGGB", 0.5, 0.0), ("GBRG", 0.5, 3.0), ("W", 1.0, 5.0)] {
        let mut bench = Bench::of(filter, gain, 3.0);
        bench.sensor.black = black;
        let found = open(&bench, "black is cut at 0 DN");
        assert!(found.channels.iter().all(|c| c.dsnu_e.is_none()));
    }
    for (filter, gain, read_noise) in [("RGGB", 4.0, 1.6), ("W", 8.0, 1.6), ("BGGR", 5.0, 2.2)] {
        let found = open(&Bench::of(filter, gain, read_noise), "rounding to whole DN hides");
        // The bound holds, and is no idle one.
        let note = found.notes.iter().find(|n| n.contains("at most")).unwrap();
        let most: f64 = note.split(" DN, ").nth(1).unwrap().split(' ').next().unwrap().parse().unwrap();
        assert!(most > 0.97 * read_noise && most < 1.5 * read_noise, "{note}: {read_noise}");
    }
    for (filter, dark_e) in [("RGGB", 90.0), ("W", 20.0)] {
        open(&Bench { dark_e, ..Bench::of(filter, 2.0, 3.0) }, "above declared black");
    }
}

/// What is told stays told: black well above zero, read noise of half a DN and more, little light.
#[test]
fn read_noise_that_the_dark_frames_tell_is_told() {
    for (filter, gain, read_noise, black) in
        [("RGGB", 0.5, 3.0, 24.0), ("W", 4.0, 2.4, 256.0), ("GBRG", 2.0, 1.6, 512.0)]
    {
        let mut bench = Bench { dark_e: 0.02 * read_noise * read_noise, ..Bench::of(filter, gain, read_noise) };
        bench.sensor.black = black;
        let found = bench.found(&SHARES, 2).unwrap();
        for c in &found.channels {
            assert!(near(c.read_noise_e, read_noise, 0.03), "{filter} {c:?}");
            let (value, se) = (c.read_noise_e.unwrap(), c.read_noise_se_e.unwrap());
            assert!((value - read_noise).abs() < 4.0 * se + 0.01 * read_noise, "{filter} {c:?}");
        }
        assert_eq!(found.notes, [""; 0]);
    }
    let some = Bench { dark_e: 3.0, ..Bench::of("RGGB", 2.0, 3.0) }.found(&SHARES, 2).unwrap();
    assert!(some.channels.iter().all(|c| c.read_noise_e.is_some()));
    assert!(some.notes.iter().any(|n| n.contains("read noise less")), "{:?}", some.notes);
}

#[test]
fn dark_frames_of_another_time_are_told() {
    let bench = Bench::of("RGGB", 2.0, 3.0);
    for (dark_s, flat_s, words) in
        [(30.0, 0.02, "in read noise"), (0.01, 8.0, "count as light"), (0.01, 0.02, ""), (2.0, 2.0, "")]
    {
        let mut collector = Collector::new();
        for (seed, share) in [0.0, 0.0, 0.1, 0.1, 0.3, 0.3, 0.5, 0.5].into_iter().enumerate() {
            let mut shot = bench.shoot(seed as u64, share);
            shot.shot.shutter_s = Some(if share > 0.0 { flat_s * share / 0.5 } else { dark_s });
            let kind = if share > 0.0 { Kind::Flat } else { Kind::Dark };
            collector.add(&format!("{seed}"), shot, kind).unwrap();
        }
        let notes = collector.finish().unwrap().notes;
        let told = notes.iter().find(|n| n.starts_with("dark frames: exposed for"));
        assert_eq!(told.is_some(), !words.is_empty(), "{notes:?}");
        assert!(told.is_none_or(|n| n.contains(words)), "{notes:?}");
    }
}

/// Rows and photosites with offsets of their own make no glow; glow lights all planes.
#[test]
fn glow_is_asked_of_all_planes() {
    for (filter, seed) in [("RGGB", 0), ("W", 500), ("GBRG", 1_000), ("W", 1_500), ("RGGB", 2_000), ("W", 2_500)] {
        for (glow, told) in [([0.0; 4], false), ([6.0; 4], true), ([6.0, 0.0, 0.0, 0.0], filter == "W")] {
            let mut bench = Bench { pattern: (3.0, 1.0), glow, ..Bench::of(filter, 2.0, 3.0) };
            bench.pattern_seed = seed;
            let found = bench.with_darks(&[0.1, 0.3, 0.5], 2, 10_000 * seed).unwrap();
            for c in &found.channels {
                assert_eq!(c.glow_e.is_some(), told, "{filter} {seed} {glow:?}: {c:?}");
                // The mean over the last tile, 1/16 of the width: 0.81 of the rim's.
                assert!(c.glow_e.is_none_or(|e| (3.8..6.5).contains(&e)), "{:?}", c.glow_e);
            }
            assert_eq!(
                found.notes.iter().any(|n| n.contains("amplifier glow") && n.contains("right")),
                told,
                "{:?}",
                found.notes
            );
        }
    }
}

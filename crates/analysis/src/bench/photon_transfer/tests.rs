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
                assert!((c.full_well_e / full_well - 1.0).abs() < 0.015, "{c:?}");
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

//! Edges drawn point by point, apart from the simulator: defects, falls of light, bends, slants, and what is no target.

use std::f64::consts::PI;
use std::path::Path;

use rawassay_analysis::bench::edge_checks::Standing;
use rawassay_analysis::bench::slanted_edge::{SlantedEdges, slanted_edges};
use rawassay_analysis::measures::Channel;
use rawassay_decode::{Area, Frame};
use rawassay_scene::{Camera, Compression, Filter, Recipe, SceneKind, render};

use super::at;

/// Cumulative normal distribution (Abramowitz and Stegun 7.1.26: within 1e-7).
fn normal(x: f64) -> f64 {
    let z = x.abs() / 2.0_f64.sqrt();
    let t = 1.0 / (1.0 + 0.327_591_1 * z);
    let poly =
        t * (0.254_829_592 + t * (-0.284_496_736 + t * (1.421_413_741 + t * (-1.453_152_027 + t * 1.061_405_429))));
    let half = 0.5 * poly * (-z * z).exp();
    if x < 0.0 { half } else { 1.0 - half }
}

/// A frame with levels drawn at points of the picture, 1 at saturation, with noise: an independent drawing.
pub(super) fn drawn(filter: Filter, seed: u32, level: impl Fn(f64, f64) -> f64) -> Drawn {
    let camera = Camera { filter, ..Camera::default() };
    let recipe = Recipe::new(SceneKind::Flat).size(520, 420).camera(camera);
    let file = render(&recipe).to_dng(Compression::None);
    let mut frame = rawassay_decode::open_bytes(Path::new("drawn.dng"), file).unwrap();
    let channels = rawassay_analysis::measure(&frame).channels;
    let (black, white) = (channels[0].black_dn, channels[0].saturation_dn);
    let mut state = seed;
    let mut uniform = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(state >> 8) / f64::from(1_u32 << 24) - 0.5
    };
    let area = frame.active;
    for y in 0..area.height {
        for x in 0..area.width {
            let noise = 0.004 * (uniform() + uniform() + uniform() + uniform());
            let dn = black + (white - black) * (level(x as f64, y as f64) + noise);
            frame.samples[(y + area.y) * frame.width + x + area.x] = dn.round().clamp(0.0, white) as u16;
        }
    }
    Drawn { frame, channels }
}

/// A drawn frame, with the levels of the camera.
pub(super) struct Drawn {
    frame: Frame,
    channels: Vec<Channel>,
}

pub(super) fn of(drawn: &Drawn, region: Option<Area>) -> Result<SlantedEdges, String> {
    slanted_edges(&drawn.frame, &drawn.channels, region)
}

/// Distance from a line through (260.3, 210.2) with its normal at `degrees` (y down), and place along it.
pub(super) fn across(degrees: f64, x: f64, y: f64) -> (f64, f64) {
    let (sin, cos) = degrees.to_radians().sin_cos();
    ((x - 260.3) * cos + (y - 210.2) * sin, (y - 210.2) * cos - (x - 260.3) * sin)
}

pub(super) const REGION: Area = Area { x: 20, y: 20, width: 480, height: 380 };

/// The closed form of a Gaussian at points: in every colour, to the given error.
fn is_gaussian(found: &SlantedEdges, colours: usize, sigma: f64, bound: f64) {
    assert_eq!(found.edges.len(), colours, "{:?}", found.notes);
    for e in &found.edges {
        for f in [0.1, 0.25, 0.4] {
            let off = at(&e.curve, f) - (-2.0 * (PI * sigma * f).powi(2)).exp();
            assert!(off.abs() < bound, "{} at {f}: {off:+.4}", e.plane);
        }
        let off = e.rise_px.unwrap() / (2.5631 * sigma) - 1.0;
        assert!(off.abs() < 0.03, "{} rise {off:+.4}", e.plane);
    }
}

#[test]
fn defective_pixels_cost_no_colour() {
    for (seed, (degrees, filter, count)) in (1..).zip([(5.0, "RGGB", 1), (98.0, "GBRG", 30), (186.0, "BGGR", 30)]) {
        let mut frame =
            drawn(Filter::two_by_two(filter), seed, |x, y| 0.1 + 0.5 * normal(across(degrees, x, y).0 / 0.6));
        let (area, saturated) = (frame.frame.active, frame.channels[0].saturation_dn as u16);
        for k in 0..count {
            // Near the edge, on both sides, in every colour.
            let (sin, cos) = degrees.to_radians().sin_cos();
            let (t, u) = (f64::from(k % 7) * 2.6 - 7.0, f64::from(k) * 9.3 - 140.0);
            let (x, y) = (260.3 + t * cos - u * sin, 210.2 + t * sin + u * cos);
            let at = (y as usize + area.y) * frame.frame.width + x as usize + area.x;
            frame.frame.samples[at] = if k % 3 == 2 { saturated / 3 } else { saturated };
        }
        is_gaussian(&of(&frame, Some(REGION)).unwrap(), 3, 0.6, 0.02);
    }
}

#[test]
fn a_clipped_side_is_named() {
    for (seed, (degrees, over)) in (1..).zip([(5.0, 1.0), (95.0, 1.3), (184.0, 2.0)]) {
        let frame = drawn(Filter::two_by_two("RGGB"), seed, |x, y| {
            over * (0.15 + 0.85 * normal(across(degrees, x, y).0 / 0.6))
        });
        for region in [None, Some(REGION)] {
            let why = of(&frame, region).unwrap_err();
            assert!(why.contains("clipped") && why.contains("less"), "{why}");
        }
    }
}

#[test]
fn light_that_falls_off_is_borne() {
    for (seed, (degrees, fall, filter)) in
        (1..).zip([(5.0, 90.0, "RGGB"), (95.0, 0.0, "GRBG"), (-85.0, 200.0, "BGGR"), (6.0, 270.0, "RGGB")])
    {
        let frame = drawn(Filter::two_by_two(filter), seed, |x, y| {
            let (t, _) = across(fall, x, y);
            (0.25 + 0.4 * normal(across(degrees, x, y).0 / 0.6)) * (1.0 + 0.3 * t / 500.0)
        });
        is_gaussian(&of(&frame, Some(REGION)).unwrap(), 3, 0.6, 0.03);
    }
}

#[test]
fn a_bent_edge_is_straightened() {
    for (seed, (degrees, radius, filter)) in (1..).zip([
        (5.0, 40_000.0, "RGGB"),
        (95.0, 9000.0, "GRBG"),
        (185.0, -4500.0, "BGGR"),
        (-84.0, -16_000.0, "RGGB"),
    ]) {
        let frame = drawn(Filter::two_by_two(filter), seed, |x, y| {
            let (t, u) = across(degrees, x, y);
            let d = f64::hypot(t + radius, u) - radius.abs();
            0.1 + 0.5 * normal(d * f64::signum(radius) / 0.6)
        });
        let found = of(&frame, Some(REGION)).unwrap();
        is_gaussian(&found, 3, 0.6, 0.02);
        assert!(found.edges[0].length_px > 250.0, "{}", found.edges[0].length_px);
    }
    // One that bends too far is told as such.
    let frame = drawn(Filter::monochrome(), 9, |x, y| {
        let (t, u) = across(5.0, x, y);
        0.1 + 0.5 * normal((f64::hypot(t + 800.0, u) - 800.0) / 0.6)
    });
    if let Err(why) = of(&frame, Some(REGION)) {
        assert!(why.contains("bent"), "{why}");
    }
}

#[test]
fn a_slant_of_twenty_degrees_is_one_and_every_edge_is_told_once() {
    for (seed, turn) in (1..).zip([20.0, 70.0, 110.0, 160.0, 200.0, 290.0]) {
        let filter = if seed % 2 == 0 { Filter::monochrome() } else { Filter::two_by_two("RGGB") };
        let colours = if seed % 2 == 0 { 1 } else { 3 };
        let frame = drawn(filter, seed, |x, y| 0.1 + 0.5 * normal(across(turn, x, y).0 / 0.9));
        is_gaussian(&of(&frame, None).unwrap(), colours, 0.9, 0.02);
    }
}

#[test]
fn what_is_left_alone_is_noted() {
    let square = |x: f64, y: f64, (cx, cy): (f64, f64), side: f64| -> f64 {
        (0..4)
            .map(|q| {
                let (sin, cos) = f64::to_radians(5.0 + 90.0 * f64::from(q)).sin_cos();
                normal((side / 2.0 - (x - cx) * cos - (y - cy) * sin) / 0.6)
            })
            .product()
    };
    let frame = drawn(Filter::monochrome(), 4, |x, y| {
        0.6 - 0.5 * square(x, y, (160.0, 210.0), 220.0) - 0.5 * square(x, y, (410.0, 210.0), 70.0)
    });
    let found = of(&frame, None).unwrap();
    assert_eq!(found.edges.len(), 4);
    assert!(found.notes.iter().any(|n| n.contains("4 shorter")), "{:?}", found.notes);
}

/// Figures without meaning are not given: each condition of the method, broken on its own by an amount that is known.
#[test]
fn what_is_no_straight_edge_on_plain_sides_gives_no_figures() {
    type Level = fn(f64, f64) -> f64;
    let sound: Level = |t, _| 0.1 + 0.5 * normal(t / 0.8);
    // Out of line by 1.1 px root mean square, in waves of 75 px.
    let wavy: Level = |t, u| 0.1 + 0.5 * normal((t + 1.5 * (u / 12.0).sin()) / 0.8);
    // Stripes across: levels of the bright side up and down by 0.11 / sqrt(2) of the light added, 7.8 % of the step, root mean square.
    let striped: Level = |t, u| 0.1 + 0.5 * normal(t / 0.8) * (1.0 + 0.11 * (u / 14.0).sin());
    // A grey line beside it takes 5 % of the step.
    let lined: Level = |t, _| 0.1 + 0.5 * normal(t / 0.8) - 0.025 * f64::from((t - 22.0).abs() < 4.0);
    let mut seen = (0, 0);
    for (seed, (turn, filter)) in (1..).zip([(5.0, "RGGB"), (96.0, "GRBG"), (-172.0, "BGGR")]) {
        let look = |level: Level| {
            let frame = drawn(Filter::two_by_two(filter), seed, |x, y| {
                let (t, u) = across(turn, x, y);
                level(t, u)
            });
            of(&frame, Some(REGION)).map_or_else(|_| Vec::new(), |found| found.edges)
        };
        for e in look(sound) {
            assert!(e.standing == Standing::Measured && e.reasons.is_empty(), "{turn} {}: {:?}", e.plane, e.reasons);
        }
        assert_eq!(look(sound).len(), 3);
        for e in look(wavy) {
            seen.0 += 1;
            assert!(e.standing == Standing::Undetermined, "{turn} {}: {:?}", e.plane, e.reasons);
            assert!(e.reasons.iter().any(|r| r.contains("not straight")), "{:?}", e.reasons);
            assert!(e.rise_px.is_none() && e.mtf50_cy_px.is_none() && e.mtf10_cy_px.is_none() && e.curve.is_empty());
        }
        for e in look(striped) {
            seen.1 += 1;
            assert!(e.standing > Standing::Measured, "{turn} {}", e.plane);
            assert!(e.reasons.iter().any(|r| r.contains("change along it")), "{:?}", e.reasons);
        }
        let lined = look(lined);
        assert!(!lined.is_empty());
        for e in lined {
            assert!(e.standing > Standing::Measured, "{turn} {}", e.plane);
            assert!(e.reasons.iter().any(|r| r.contains("falls back")), "{:?}", e.reasons);
        }
    }
    assert!(seen.0 > 0 && seen.1 > 0, "{seen:?}");
}

/// A short edge and one whose sides end within its spread are told as doubtful at least.
#[test]
fn short_edges_and_narrow_sides_are_doubtful() {
    let bar = |x: f64, y: f64, width: f64, length: f64| {
        let (t, u) = across(5.0, x, y);
        let within = |v: f64, side: f64| normal((v + side / 2.0) / 0.8) * normal((side / 2.0 - v) / 0.8);
        0.1 + 0.5 * within(t, width) * within(u, length)
    };
    for (seed, (width, length, why)) in (1..).zip([(64.0, 64.0, "long"), (13.0, 300.0, "whole spread")]) {
        let frame = drawn(Filter::monochrome(), seed, |x, y| bar(x, y, width, length));
        let found = of(&frame, None).unwrap();
        assert!(!found.edges.is_empty());
        for e in &found.edges {
            assert!(e.standing > Standing::Measured && e.reasons.iter().any(|r| r.contains(why)), "{:?}", e.reasons);
        }
    }
}

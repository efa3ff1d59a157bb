//! The slanted-edge response of simulated targets against the closed form exp(-2 pi^2 sigma^2 f^2) with the pixel's
//! sinc across the edge.

use std::f64::consts::PI;
use std::path::Path;

use rawassay_analysis::bench::edge_checks::Standing;
use rawassay_analysis::bench::slanted_edge::{EdgeResponse, slanted_edges};
use rawassay_decode::Area;
use rawassay_scene::{Camera, Compression, Filter, Optics, Recipe, SceneKind, render};

mod drawn;

use drawn::{REGION, across, drawn, of};

fn sinc(x: f64) -> f64 {
    if x.abs() < 1e-9 { 1.0 } else { (PI * x).sin() / (PI * x) }
}

fn responses(turn_deg: f64, sigma: f64, filter: Filter, iso: f64, region: Option<Area>) -> Vec<EdgeResponse> {
    seeded(turn_deg, sigma, filter, iso, region, 1)
}

fn seeded(turn_deg: f64, sigma: f64, filter: Filter, iso: f64, region: Option<Area>, seed: u64) -> Vec<EdgeResponse> {
    let recipe = Recipe::new(SceneKind::SlantedSquare { turn_deg, dark: 0.15 })
        .size(700, 500)
        .seeds(1, seed)
        .optics(Optics::gaussian(sigma))
        .camera(Camera { filter, prnu_pct: 0.0, ..Camera::default() })
        .exposure(iso, -0.7);
    let file = render(&recipe).to_dng(Compression::None);
    let frame = rawassay_decode::open_bytes(Path::new("target.dng"), file).unwrap();
    let channels = rawassay_analysis::measure(&frame).channels;
    slanted_edges(&frame, &channels, region).unwrap().edges
}

fn at(curve: &[[f64; 2]], f: f64) -> f64 {
    let k = curve.iter().position(|p| p[0] > f).unwrap();
    let (a, b) = (curve[k - 1], curve[k]);
    a[1] + (b[1] - a[1]) * (f - a[0]) / (b[0] - a[0])
}

#[test]
fn targets_give_their_closed_form() {
    let cases = [
        (5.0, 0.5, Filter::two_by_two("RGGB")),
        (8.0, 0.4, Filter::two_by_two("GBRG")),
        (12.0, 0.7, Filter::monochrome()),
    ];
    for (turn, sigma, filter) in cases {
        let edges = responses(turn, sigma, filter, 100.0, None);
        assert!(edges.len() >= 4, "found {}", edges.len());
        let (s, c) = f64::to_radians(turn).sin_cos();
        for f in [0.1, 0.25, 0.4] {
            let truth = (-2.0 * (PI * sigma * f).powi(2)).exp() * sinc(f * c) * sinc(f * s);
            // Each colour's mean over the sides of the square.
            for plane in ["G", "R", "B", "W"] {
                let of: Vec<f64> = edges.iter().filter(|e| e.plane == plane).map(|e| at(&e.curve, f)).collect();
                if of.is_empty() {
                    continue;
                }
                let mean = of.iter().sum::<f64>() / of.len() as f64;
                let share = if plane == "G" || plane == "W" { 0.03 } else { 0.05 };
                assert!((mean / truth - 1.0).abs() < share, "{plane} sigma {sigma} at {f}: {mean} for {truth}");
            }
        }
        for edge in edges.iter().filter(|e| e.plane == "G" || e.plane == "W") {
            assert!((edge.slant_deg - turn).abs() < 0.2, "{}", edge.slant_deg);
            let rise = 2.5631 * (sigma * sigma + 1.0 / 12.0).sqrt();
            assert!((edge.rise_px.unwrap() / rise - 1.0).abs() < 0.06, "{:?} for {rise}", edge.rise_px);
        }
    }
}

#[test]
fn a_named_region_is_measured_and_a_wrong_one_refused() {
    let all = responses(6.0, 0.6, Filter::two_by_two("GRBG"), 400.0, None);
    let one = responses(6.0, 0.6, Filter::two_by_two("GRBG"), 400.0, Some(all[0].region));
    let green = |edges: &[EdgeResponse]| edges.iter().find(|e| e.plane == "G").and_then(|e| e.mtf50_cy_px).unwrap();
    assert!((green(&one) / green(&all) - 1.0).abs() < 0.03);
    let recipe = Recipe::new(SceneKind::Flat).size(300, 200);
    let frame = rawassay_decode::open_bytes(Path::new("flat.dng"), render(&recipe).to_dng(Compression::None)).unwrap();
    let channels = rawassay_analysis::measure(&frame).channels;
    assert!(slanted_edges(&frame, &channels, None).is_err());
    assert!(slanted_edges(&frame, &channels, Some(Area::new(250, 150, 100, 100))).unwrap_err().contains("inside"));
}

/// What repeats of one target scatter by is what a single one says of itself.
#[test]
fn standard_errors_are_those_of_repeats() {
    const REPEATS: u64 = 24;
    let repeats: Vec<Vec<EdgeResponse>> =
        (1..=REPEATS).map(|seed| seeded(6.0, 0.7, Filter::two_by_two("RGGB"), 1600.0, None, seed)).collect();
    for (name, read) in [
        ("rise", (|e| (e.rise_px, e.rise_se_px)) as fn(&EdgeResponse) -> (Option<f64>, Option<f64>)),
        ("mtf50", |e| (e.mtf50_cy_px, e.mtf50_se_cy_px)),
        ("mtf10", |e| (e.mtf10_cy_px, e.mtf10_se_cy_px)),
    ] {
        let (mut told, mut seen, mut n) = (0.0, 0.0, 0.0);
        for edge in 1..=4 {
            let of: Vec<(f64, f64)> = repeats
                .iter()
                .filter_map(|r| r.iter().find(|e| e.edge == edge && e.plane == "G"))
                .filter_map(|e| Some((read(e).0?, read(e).1?)))
                .collect();
            if of.len() < 20 {
                continue;
            }
            let mean = of.iter().map(|v| v.0).sum::<f64>() / of.len() as f64;
            seen += of.iter().map(|v| (v.0 - mean).powi(2)).sum::<f64>() / (of.len() as f64 - 1.0);
            told += of.iter().map(|v| v.1 * v.1).sum::<f64>() / of.len() as f64;
            n += 1.0;
        }
        assert!(n >= 3.0, "{name}: {n} edges");
        let ratio = (told / seen).sqrt();
        assert!((0.6..1.7).contains(&ratio), "{name}: told {}, seen {}", (told / n).sqrt(), (seen / n).sqrt());
    }
}

/// One edge through the middle of a frame, its normal at `normal_deg`.
fn single(normal_deg: f64, optics: Optics, filter: Filter, iso: f64, seed: u64) -> Recipe {
    Recipe::new(SceneKind::SingleEdge { normal_deg, dark: 0.15 })
        .size(520, 420)
        .seeds(1, seed)
        .optics(optics)
        .camera(Camera { filter, prnu_pct: 0.0, ..Camera::default() })
        .exposure(iso, -0.7)
}

fn measured(recipe: &Recipe, region: Option<Area>) -> Result<Vec<EdgeResponse>, String> {
    let file = render(recipe).to_dng(Compression::None);
    let frame = rawassay_decode::open_bytes(Path::new("edge.dng"), file).unwrap();
    let channels = rawassay_analysis::measure(&frame).channels;
    slanted_edges(&frame, &channels, region).map(|found| found.edges)
}

/// Where a falling curve takes a level.
fn falls_to(curve: impl Fn(f64) -> f64, level: f64) -> f64 {
    (1..20_000).map(|k| f64::from(k) * 1e-4).find(|&f| curve(f) < level).unwrap()
}

/// Edge of a line's transfer function: 1/2 + the integral of mtf sin(2 pi f x) / (pi f).
fn edge_at(mtf: impl Fn(f64) -> f64, x: f64) -> f64 {
    let df = 5e-4;
    let parts = (0..6000).map(|k| (f64::from(k) + 0.5) * df);
    0.5 + parts.map(|f| mtf(f) * (2.0 * PI * f * x).sin() / (PI * f) * df).sum::<f64>()
}

/// Its 10 to 90 % rise.
fn rise_of(mtf: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (0.0, 30.0);
    for _ in 0..40 {
        let x = f64::midpoint(low, high);
        if edge_at(&mtf, x) < 0.9 { low = x } else { high = x }
    }
    low + high
}

/// Light of a lens limited by diffraction spreads far out: its curve, rise and their errors hold all the same.
#[test]
fn the_tails_of_diffraction_are_held() {
    let cases = [(5.0, 5.6, "RGGB"), (97.0, 11.0, "W"), (188.0, 22.0, "GRBG"), (-84.0, 16.0, "BGGR")];
    for (seed, (degrees, f_number, filter)) in (1..).zip(cases) {
        let (sigma, spread) = (0.6, 0.55 * f_number / 4.0);
        let truth = |f: f64| {
            let v = (f * spread).min(1.0);
            2.0 / PI * (v.acos() - v * (1.0 - v * v).sqrt()) * (-2.0 * (PI * sigma * f).powi(2)).exp()
        };
        let table: Vec<f64> = (0..1200).map(|k| edge_at(truth, f64::from(k) * 0.05)).collect();
        // Beyond, the tail of the line: 2 / pi^3 x wavelength x f-number / x^2.
        let edge = |t: f64| {
            let k = t.abs() / 0.05;
            let far = match table.get(k as usize..k as usize + 2) {
                Some(pair) => pair[0] + (pair[1] - pair[0]) * k.fract(),
                None => 1.0 - 2.0 / PI.powi(3) * spread / t.abs(),
            };
            if t < 0.0 { 1.0 - far } else { far }
        };
        let wanted = if filter == "W" { 1 } else { 3 };
        let filter = if filter == "W" { Filter::monochrome() } else { Filter::two_by_two(filter) };
        let frame = drawn(filter, seed, |x, y| 0.1 + 0.6 * edge(across(degrees, x, y).0));
        let (half, rise) = (falls_to(truth, 0.5), rise_of(truth));
        let found = of(&frame, if seed % 2 == 0 { None } else { Some(REGION) }).unwrap();
        assert_eq!(found.edges.len(), wanted);
        for e in &found.edges {
            let off = at(&e.curve, 0.1) - truth(0.1);
            assert!(off.abs() < 0.008, "f/{f_number} {} at 0.1: {off:+.4}", e.plane);
            let share = if e.plane == "G" || e.plane == "W" { 0.012 } else { 0.02 };
            let off = e.mtf50_cy_px.unwrap() / half - 1.0;
            assert!(off.abs() < share, "f/{f_number} {} MTF50 {off:+.4}", e.plane);
            assert!(off.abs() < 4.0 * e.mtf50_se_cy_px.unwrap() / half, "f/{f_number} {} error", e.plane);
            let off = e.rise_px.unwrap() / rise - 1.0;
            assert!(off.abs() < 0.015, "f/{f_number} {} rise {off:+.4}", e.plane);
            assert!(off.abs() < 4.0 * e.rise_se_px.unwrap() / rise, "f/{f_number} {} rise error", e.plane);
        }
    }
}

/// Slants of tan 1/3 to 1/7 lay the samples on a lattice; and a sharp edge is no wider than it is.
#[test]
fn small_fractions_and_sharp_edges_are_as_good_as_others() {
    for (seed, (fraction, turn, filter)) in (1..).zip([
        (3.0_f64, 0.0, "RGGB"),
        (4.0, 90.0, "GBRG"),
        (5.0, 180.0, "RGGB"),
        (6.0, -90.0, "BGGR"),
        (7.0, 90.0, "W"),
        (7.0, 0.0, "GRBG"),
    ]) {
        let normal = turn + (1.0 / fraction).atan().to_degrees();
        let sigma = if fraction > 3.0 { 0.4 } else { 0.5 };
        let wanted = if filter == "W" { 1 } else { 3 };
        let filter = if filter == "W" { Filter::monochrome() } else { Filter::two_by_two(filter) };
        let (sin, cos) = f64::to_radians(normal).sin_cos();
        let truth = |f: f64| (-2.0 * (PI * sigma * f).powi(2)).exp() * sinc(f * cos) * sinc(f * sin);
        let rise = rise_of(truth);
        let edges = measured(&single(normal, Optics::gaussian(sigma), filter, 100.0, seed), None).unwrap();
        assert_eq!(edges.len(), wanted, "1/{fraction}");
        for e in &edges {
            for f in [0.1, 0.25, 0.4] {
                let off = at(&e.curve, f) - truth(f);
                assert!(off.abs() < 0.016, "1/{fraction} {} at {f}: {off:+.4}", e.plane);
            }
            let off = e.rise_px.unwrap() / rise - 1.0;
            let share = if e.plane == "G" || e.plane == "W" { 0.014 } else { 0.02 };
            assert!(off.abs() < share, "1/{fraction} {} rise {off:+.4}", e.plane);
        }
    }
}

/// A sound target is measured as one however noisy: no side seems to end by chance, no figure is called doubtful.
#[test]
fn noise_alone_makes_no_sound_target_doubtful() {
    let (mut all, mut sound, mut short) = (0, 0, 0);
    for (seed, (turn, sigma, filter)) in (1..).zip([
        (5.0, 0.6, Filter::two_by_two("RGGB")),
        (14.0, 1.1, Filter::six_by_six()),
        (97.0, 0.9, Filter::two_by_two("GBRG")),
        (188.0, 1.3, Filter::monochrome()),
        (-6.0, 0.8, Filter::linear_rgb()),
        (263.0, 1.6, Filter::two_by_two("BGGR")),
    ]) {
        let recipe = single(turn, Optics::gaussian(sigma), filter, 6400.0, seed).size(900, 700);
        let spread = recipe.spread_at(450.0, 350.0);
        for e in measured(&recipe, None).unwrap() {
            all += 1;
            sound += usize::from(e.standing == Standing::Measured);
            short += usize::from(e.side_px < e.side_wanted_px - 0.5);
            // Held against the closed form of the spread, in its own standard errors.
            let truth = spread.edge(e.angle_deg - 90.0).rise_px;
            let (rise, error) = (e.rise_px.unwrap(), e.rise_se_px.unwrap());
            assert!((rise - truth).abs() < 4.0 * error + 0.02 * truth, "{seed} {}: {rise} {error} {truth}", e.plane);
        }
    }
    assert!(all >= 14 && sound >= all - 2 && short == 0, "{sound} of {all}, {short} with sides cut short");
}

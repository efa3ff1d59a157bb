//! The slanted-edge response of simulated targets against the closed form exp(-2 pi^2 sigma^2 f^2) with the pixel's
//! sinc across the edge.

use std::f64::consts::PI;
use std::path::Path;

use rawassay_analysis::bench::slanted_edge::{EdgeResponse, slanted_edges};
use rawassay_decode::Area;
use rawassay_scene::{Camera, Compression, Filter, Optics, Recipe, SceneKind, render};

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
    slanted_edges(&frame, &channels, region).unwrap()
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

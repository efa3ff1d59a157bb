//! Print sizes against the standard for papers and worked examples: ISO 216 (A0 is one square metre, sides 1 : sqrt 2, each
//! size half of the one before, rounded to whole mm), and the pixels per inch that a printer asks for.

use rawassay_analysis::brief::length::{self, Size};
use rawassay_analysis::enlarge::usual_sizes;
use rawassay_analysis::print::fit;

/// Sides of a size as a brief writes it, mm.
fn sides_mm(text: &str) -> (f64, f64) {
    match length::size(text).unwrap() {
        Size::Paper(width, height, _) => (width, height),
        Size::Pixels(..) => panic!("{text} has no length"),
    }
}

#[test]
fn the_a_sizes_are_those_of_iso_216() {
    let ladder = usual_sizes();
    let mut before: Option<(f64, f64)> = None;
    for n in 0..=6_u32 {
        // Longer side 1000 mm x 2^(1/4 - n/2), shorter 1000 mm x 2^(-1/4 - n/2); the standard rounds at each halving.
        let side = |quarter: f64| 1000.0 * 2_f64.powf(quarter - f64::from(n) / 2.0);
        let (width, height) = sides_mm(&format!("A{n}"));
        assert!((width - side(-0.25)).abs() <= 1.0 && (height - side(0.25)).abs() <= 1.0, "A{n}: {width} x {height}");
        if let Some((wide, high)) = before {
            assert!((height - wide).abs() < 1e-9 && (width - (high / 2.0).floor()).abs() < 1e-9, "A{n}");
        }
        before = Some((width, height));
        if let Some(rung) = ladder.iter().find(|s| s.name == format!("A{n}")) {
            assert!((rung.width_mm - width).abs() < 1e-9 && (rung.height_mm - height).abs() < 1e-9, "{rung:?}");
        }
    }
}

#[test]
fn an_inch_is_25_4_mm() {
    // International yard and pound agreement, 1959.
    let near = |(a, b): (f64, f64), (c, d): (f64, f64)| (a - c).abs() < 1e-9 && (b - d).abs() < 1e-9;
    assert!(near(sides_mm("8 x 10 in"), (203.2, 254.0)));
    assert!(near(sides_mm("60 x 40 cm"), (600.0, 400.0)));
}

#[test]
fn pixels_per_inch_of_worked_examples() {
    let inch = |w: f64, h: f64| (w * 25.4, h * 25.4);
    // 6000 x 4000 px at 20 x 13.33 in; a crop to 3600 x 2400 px (36 % of them) at 60 x 40 cm.
    let whole = fit(6000.0, 4000.0, inch(20.0, 13.333_333), true).unwrap();
    assert!((whole.ppi - 300.0).abs() < 0.01, "{whole:?}");
    let crop = fit(3600.0, 2400.0, (600.0, 400.0), true).unwrap();
    assert!((crop.ppi - 152.4).abs() < 0.01, "{crop:?}");
    // Common practice, no source: 10 to 12 megapixels fill 8 x 10 in at 300 ppi: 3000 x 2400 px.
    let album = fit(3000.0, 2400.0, inch(8.0, 10.0), true).unwrap();
    assert!((album.ppi - 300.0).abs() < 0.01, "{album:?}");
    // A picture of 3 : 2 in a frame of 4 : 3 leaves paper free on one side: 100 x 75 cm shows 100 x 66.7 cm.
    let shown = fit(6000.0, 4000.0, (1000.0, 750.0), true).unwrap();
    assert!((shown.width_mm - 1000.0).abs() < 1e-9 && (shown.height_mm - 666.667).abs() < 0.001, "{shown:?}");
}

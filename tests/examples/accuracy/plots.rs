//! Readings against truth, one small plot per measure.

use std::error::Error;
use std::path::Path;

use plotters::prelude::*;

use crate::Outcome;
use crate::tables::{self, Pair, pairs};

const INK: RGBColor = RGBColor(40, 48, 56);
const POINT: RGBColor = RGBColor(30, 110, 130);

/// Writes all plots into a folder.
pub(crate) fn write(outcomes: &[Outcome], folder: &Path) -> Result<(), Box<dyn Error + Send + Sync>> {
    let draw = |name: &str, title: &str, list: &[Pair<'_>]| {
        scatter(&folder.join(format!("{name}.svg")), title, list).map_err(|e| e.to_string())
    };
    draw("rise", "edge rise, px", &pairs(outcomes, tables::rise))?;
    draw("mtf50", "MTF50, cycles/px", &pairs(outcomes, tables::mtf50))?;
    draw("motion", "movement, px", &pairs(outcomes, tables::motion))?;
    draw("direction", "direction of movement, degrees", &pairs(outcomes, tables::direction))?;
    draw("defocus", "radius of the defocus disc, px", &pairs(outcomes, tables::defocus))?;
    draw("gain", "gain, e/DN", &pairs(outcomes, tables::gain))?;
    draw("read_noise", "read noise, DN", &pairs(outcomes, tables::read_noise))?;
    draw("clipped", "clipped share of green, %", &pairs(outcomes, tables::clipped))?;
    draw("rows", "row banding, DN", &pairs(outcomes, tables::rows))?;
    Ok(())
}

/// Truth to the right, reading upwards; a perfect reading lies on the line.
fn scatter(path: &Path, title: &str, list: &[Pair<'_>]) -> Result<(), Box<dyn Error>> {
    let points: Vec<(f64, f64)> = list.iter().filter_map(|p| p.read.map(|r| (p.truth, r))).collect();
    let top = points.iter().map(|p| p.0.max(p.1)).fold(0.0, f64::max).max(1e-6) * 1.06;
    let low = points.iter().map(|p| p.0.min(p.1)).fold(0.0, f64::min);
    let root = SVGBackend::new(path, (380, 340)).into_drawing_area();
    root.fill(&WHITE)?;
    let mut chart = ChartBuilder::on(&root)
        .caption(format!("{title} ({} frames)", points.len()), ("sans-serif", 15).into_font().color(&INK))
        .margin(10)
        .x_label_area_size(38)
        .y_label_area_size(52)
        .build_cartesian_2d(low..top, low..top)?;
    chart
        .configure_mesh()
        .x_desc("true")
        .y_desc("read")
        .light_line_style(TRANSPARENT)
        .bold_line_style(RGBColor(228, 230, 232))
        .axis_style(INK)
        .label_style(("sans-serif", 12).into_font().color(&INK))
        .draw()?;
    chart.draw_series(LineSeries::new([(low, low), (top, top)], INK.mix(0.5)))?;
    chart.draw_series(points.iter().map(|p| Circle::new(*p, 3, POINT.mix(0.55).filled())))?;
    root.present()?;
    Ok(())
}

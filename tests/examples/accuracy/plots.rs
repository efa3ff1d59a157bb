//! Readings against truth, one small plot per measure.

use std::error::Error;
use std::path::Path;

use plotters::coord::Shift;
use plotters::coord::ranged1d::{AsRangedCoord, ValueFormatter};
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

/// Truth to the right, reading upwards; a perfect reading lies on the line. Quantities above zero that span more than a
/// factor of ten are drawn by their ratios.
fn scatter(path: &Path, title: &str, list: &[Pair<'_>]) -> Result<(), Box<dyn Error>> {
    let points: Vec<(f64, f64)> = list.iter().filter_map(|p| p.read.map(|r| (p.truth, r))).collect();
    let greatest = points.iter().map(|p| p.0.max(p.1)).fold(0.0, f64::max).max(1e-6);
    let least = points.iter().map(|p| p.0.min(p.1)).fold(f64::INFINITY, f64::min);
    let title = format!("{title} ({} frames)", points.len());
    let root = SVGBackend::new(path, (380, 340)).into_drawing_area();
    root.fill(&WHITE)?;
    if least > 0.0 && greatest > 10.0 * least {
        let (low, top) = (least / 1.2, greatest * 1.2);
        chart(&root, &title, [(low..top).log_scale(), (low..top).log_scale()], [low, top], &points)?;
    } else {
        let (low, top) = (least.min(0.0), greatest * 1.06);
        chart(&root, &title, [low..top, low..top], [low, top], &points)?;
    }
    root.present()?;
    Ok(())
}

fn chart<R>(
    root: &DrawingArea<SVGBackend<'_>, Shift>,
    title: &str,
    [across, up]: [impl AsRangedCoord<CoordDescType = R, Value = f64>; 2],
    [low, top]: [f64; 2],
    points: &[(f64, f64)],
) -> Result<(), Box<dyn Error>>
where
    R: Ranged<ValueType = f64> + ValueFormatter<f64>,
{
    let mut chart = ChartBuilder::on(root)
        .caption(title, ("sans-serif", 15).into_font().color(&INK))
        .margin(10)
        .x_label_area_size(38)
        .y_label_area_size(52)
        .build_cartesian_2d(across, up)?;
    chart
        .configure_mesh()
        .x_labels(8)
        .y_labels(8)
        .x_desc("true")
        .y_desc("read")
        .light_line_style(TRANSPARENT)
        .bold_line_style(RGBColor(228, 230, 232))
        .axis_style(INK)
        .label_style(("sans-serif", 12).into_font().color(&INK))
        .draw()?;
    chart.draw_series(LineSeries::new([(low, low), (top, top)], INK.mix(0.5)))?;
    chart.draw_series(points.iter().map(|p| Circle::new(*p, 3, POINT.mix(0.55).filled())))?;
    Ok(())
}

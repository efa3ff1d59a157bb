//! Edge rise by direction as a polar plot, with the arrow of a motion. Hand-written: no polar axes in `plotters`.

use rawassay_analysis::Blur;
use rawassay_decode::Orientation;

use crate::page::html::put;
use crate::page::units::number;
use crate::page::upright;

const CENTRE: f64 = 210.0;
const REACH: f64 = 165.0;

/// Radius in the plot of one pixel of rise, with the outermost ring in pixels.
fn scale(largest: f64) -> (f64, f64) {
    let outer = [1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 16.0, 24.0, 32.0, 48.0, 64.0].into_iter().find(|&r| r >= largest);
    let outer = outer.unwrap_or(largest);
    (REACH / outer, outer)
}

/// The plot. Directions are turned upright with the picture.
#[must_use]
pub fn svg(rise_px: &[Option<f64>; 12], blur: &Blur, orientation: Orientation) -> String {
    let known: Vec<(f64, f64)> = rise_px
        .iter()
        .enumerate()
        .filter_map(|(bin, rise)| rise.map(|r| (upright::direction_deg(orientation, bin as f64 * 15.0 + 7.5), r)))
        .collect();
    let motion = blur.motion_px.zip(blur.motion_deg.map(|deg| upright::direction_deg(orientation, deg)));
    let diffraction = blur.expected_diffraction_px;
    let largest = known.iter().map(|k| k.1).chain(motion.map(|m| m.0)).chain(diffraction).fold(1.0, f64::max);
    let (per_px, outer) = scale(largest);
    let at = |deg: f64, px: f64| {
        let (sin, cos) = deg.to_radians().sin_cos();
        (CENTRE + px * per_px * cos, CENTRE - px * per_px * sin)
    };

    let mut said: Vec<String> =
        known.iter().map(|(deg, rise)| format!("{} pixels at {}\u{b0}", number(*rise), number(*deg))).collect();
    match motion {
        Some((px, deg)) => said.push(format!("motion of {} pixels at {}\u{b0}", number(px), number(deg))),
        None => said.push("no motion drawn".into()),
    }
    let mut out = String::new();
    put!(
        out,
        "<svg class=\"plot polar\" role=\"img\" viewBox=\"0 0 420 420\" xmlns=\"http://www.w3.org/2000/svg\">\
         <title>Edge rise by direction</title><desc>{}</desc>",
        said.join("; ")
    );
    let steps = if outer <= 4.0 { outer as usize } else { 4 };
    for step in 1..=steps {
        let px = outer * step as f64 / steps as f64;
        let radius = px * per_px;
        put!(out, "<circle class=\"s-faint\" fill=\"none\" cx=\"{CENTRE}\" cy=\"{CENTRE}\" r=\"{radius:.1}\"/>");
        let (x, y) = (CENTRE + 3.0, CENTRE - radius - 3.0);
        put!(out, "<text class=\"f-ink\" font-size=\"13\" x=\"{x:.1}\" y=\"{y:.1}\">{} px</text>", number(px));
    }
    put!(
        out,
        "<path class=\"s-faint\" d=\"M{a:.1} {CENTRE}H{b:.1}M{CENTRE} {a:.1}V{b:.1}\"/>",
        a = CENTRE - REACH,
        b = CENTRE + REACH
    );
    if let Some(px) = diffraction {
        put!(
            out,
            "<circle class=\"s-limit dashed\" fill=\"none\" cx=\"{CENTRE}\" cy=\"{CENTRE}\" r=\"{:.1}\"><title>diffraction \
             alone: {} px</title></circle>",
            px * per_px,
            number(px)
        );
    }
    // A rise across an edge looks the same from both sides: each known bin is drawn in both.
    let mut round: Vec<(f64, f64)> = known.iter().flat_map(|&(deg, rise)| [(deg, rise), (deg + 180.0, rise)]).collect();
    round.sort_by(|a, b| a.0.total_cmp(&b.0));
    let spokes: String = round
        .iter()
        .map(|&(deg, rise)| at(deg, rise))
        .map(|(x, y)| format!("M{CENTRE} {CENTRE}L{x:.1} {y:.1}"))
        .collect();
    put!(out, "<path class=\"s-main thin\" d=\"{spokes}\"/>");
    if round.len() >= 6 {
        out.push_str("<path class=\"s-main f-spread\" d=\"");
        for (i, &(deg, rise)) in round.iter().enumerate() {
            let (x, y) = at(deg, rise);
            put!(out, "{}{x:.1} {y:.1}", if i == 0 { "M" } else { "L" });
        }
        out.push_str("Z\"/>");
    }
    // A line of no length with a round end is a dot.
    let dots: String =
        round.iter().map(|&(deg, rise)| at(deg, rise)).map(|(x, y)| format!("M{x:.1} {y:.1}h0")).collect();
    put!(out, "<path class=\"s-main dots\" d=\"{dots}\"/>");
    if let Some((px, deg)) = motion {
        let ((x0, y0), (x1, y1)) = (at(deg + 180.0, px / 2.0), at(deg, px / 2.0));
        put!(out, "<path class=\"s-limit thick arrow\" d=\"M{x0:.1} {y0:.1}L{x1:.1} {y1:.1}");
        for (tip, towards) in [((x1, y1), deg + 180.0), ((x0, y0), deg)] {
            for side in [-28.0, 28.0] {
                let (sin, cos) = (towards + side).to_radians().sin_cos();
                put!(out, "M{:.1} {:.1}L{:.1} {:.1}", tip.0, tip.1, tip.0 + 13.0 * cos, tip.1 - 13.0 * sin);
            }
        }
        put!(
            out,
            "\"/><text class=\"f-limit\" font-size=\"15\" x=\"6\" y=\"412\">motion {} px at {}\u{b0}</text>",
            number(px),
            number(deg)
        );
    }
    out.push_str("</svg>");
    out
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::plot::reading::{attribute, near};
    use rawassay_analysis::BlurKind;

    fn shaken() -> Blur {
        Blur { kind: BlurKind::Motion, motion_px: Some(4.2), motion_deg: Some(30.0), ..Blur::default() }
    }

    /// Degrees and pixels of rise.
    type Spoke = (f64, f64);

    /// Spoke ends and the arrow, read from the drawing with the ring labels as the scale.
    fn read(svg: &str) -> (Vec<Spoke>, Option<Spoke>) {
        let lines: Vec<String> = svg.replace('<', "\n<").lines().map(str::to_owned).collect();
        let rings: Vec<f64> = lines
            .iter()
            .filter(|l| l.starts_with("<circle class=\"s-faint\""))
            .map(|l| attribute(l, "r").unwrap().parse().unwrap())
            .collect();
        let labels: Vec<f64> = lines
            .iter()
            .filter(|l| l.starts_with("<text class=\"f-ink\""))
            .map(|l| l.split('>').nth(1).unwrap().trim_end_matches(" px").parse().unwrap())
            .collect();
        let per_px = rings.last().unwrap() / labels.last().unwrap();
        let polar = |x: f64, y: f64| {
            let (dx, dy) = (x - 210.0, 210.0 - y);
            (dy.atan2(dx).to_degrees().rem_euclid(360.0), dx.hypot(dy) / per_px)
        };
        let dots = lines.iter().find(|l| l.starts_with("<path class=\"s-main dots\"")).map_or_else(Vec::new, |l| {
            let places = attribute(l, "d").unwrap().split('M').filter(|p| !p.is_empty());
            places
                .map(|p| p.trim_end_matches("h0").split_once(' ').unwrap())
                .map(|(x, y)| polar(x.parse().unwrap(), y.parse().unwrap()))
                .collect()
        });
        let arrow = lines.iter().find(|l| l.contains("arrow")).map(|l| {
            let numbers: Vec<f64> = attribute(l, "d")
                .unwrap()
                .split(['M', 'L', ' '])
                .filter(|s| !s.is_empty())
                .take(4)
                .map(|s| s.parse().unwrap())
                .collect();
            let length = (numbers[2] - numbers[0]).hypot(numbers[3] - numbers[1]) / per_px;
            let deg = (numbers[1] - numbers[3]).atan2(numbers[2] - numbers[0]).to_degrees().rem_euclid(180.0);
            (deg, length)
        });
        (dots, arrow)
    }

    #[test]
    fn spokes_and_arrow_have_the_measured_lengths_and_directions() {
        let mut rise = [None; 12];
        rise[0] = Some(1.5);
        rise[4] = Some(3.0);
        rise[11] = Some(2.0);
        let (dots, arrow) = read(&svg(&rise, &shaken(), Orientation::NORMAL));
        assert_eq!(dots.len(), 6);
        for (expected_deg, expected) in
            [(7.5, 1.5), (67.5, 3.0), (172.5, 2.0), (187.5, 1.5), (247.5, 3.0), (352.5, 2.0)]
        {
            assert!(
                dots.iter().any(|&(d, r)| (d - expected_deg).abs() < 0.5 && (r - expected).abs() < 0.02),
                "{dots:?}"
            );
        }
        let (deg, length) = arrow.unwrap();
        near(deg, 30.0, 0.2);
        near(length, 4.2, 0.02);
    }

    #[test]
    fn a_turned_frame_turns_its_directions() {
        // Orientation 6 is turned a quarter clockwise to stand upright: 30 degrees become 120.
        let (_, arrow) = read(&svg(&[None; 12], &shaken(), Orientation::from_exif(6)));
        near(arrow.unwrap().0, 120.0, 0.2);
    }
}

//! What `plotters` drew becomes part of the page: classes for colours, words for readers, few characters.

use super::chart::{ROLES, SIZE};
use crate::page::html::{esc, put};

/// Colours of roles become classes, the size follows the page, and title and description are added.
pub(super) fn finish(drawn: &str, title: &str, description: &str) -> String {
    let mut out = String::with_capacity(drawn.len());
    put!(
        out,
        "<svg class=\"plot chart\" role=\"img\" viewBox=\"0 0 {} {}\" xmlns=\"http://www.w3.org/2000/svg\"><title>{}</title><desc>{}</desc>",
        SIZE.0,
        SIZE.1,
        esc(title),
        esc(description)
    );
    // Straight lines and dots of one kind that follow each other become one path; axes and ticks go into one at the end.
    let (mut joined, mut axes) = (String::new(), String::new());
    for line in drawn.lines().skip(1) {
        if let Some((class, path)) = straight_line(line).or_else(|| dot(line)) {
            if class == "s-ink" {
                axes.push_str(&path);
                continue;
            }
            let open = format!("<path class=\"{class}\" d=\"");
            if !joined.starts_with(&open) {
                close(&mut out, &mut joined);
                joined = open;
            }
            joined.push_str(&path);
            continue;
        }
        close(&mut out, &mut joined);
        if line == "</svg>" && !axes.is_empty() {
            put!(out, "<path class=\"s-ink\" d=\"{axes}\"/>");
        }
        if line.starts_with('<') && !line.starts_with("</") {
            out.push_str(&classed(line));
        } else {
            // Text is already escaped by plotters' backend.
            out.push_str(line.trim());
        }
    }
    if drawn.is_empty() {
        out.push_str("</svg>");
    }
    out
}

/// Ends a path of straight lines.
fn close(out: &mut String, straight: &mut String) {
    if !straight.is_empty() {
        out.push_str(straight);
        out.push_str("\"/>");
        straight.clear();
    }
}

/// Class and path of a `<line>`, or of a polyline of two points in ink.
fn straight_line(element: &str) -> Option<(String, String)> {
    let tick = element.starts_with("<polyline ");
    if !tick && !element.starts_with("<line ") {
        return None;
    }
    let element = classed(element);
    let value = |name: &str| {
        let start = element.find(&format!(" {name}=\""))? + name.len() + 3;
        element.get(start..)?.split('"').next()
    };
    let (x1, y1, x2, y2) = if tick {
        // plotters draws axes and their ticks as short polylines.
        let (from, to) = value("points")?.split_once(' ').filter(|_| value("class") == Some("s-ink"))?;
        let ((x1, y1), (x2, y2)) = (from.split_once(',')?, to.split_once(',')?);
        if y2.contains([' ', ',']) {
            return None;
        }
        (x1, y1, x2, y2)
    } else {
        (value("x1")?, value("y1")?, value("x2")?, value("y2")?)
    };
    let to = match (x1 == x2, y1 == y2) {
        (true, _) => format!("V{y2}"),
        (_, true) => format!("H{x2}"),
        _ => format!("L{x2} {y2}"),
    };
    Some((value("class")?.to_owned(), format!("M{x1} {y1}{to}")))
}

/// Class and path of a dot: a line of no length with a round, wide end.
fn dot(element: &str) -> Option<(String, String)> {
    if !element.starts_with("<circle ") {
        return None;
    }
    let element = classed(element);
    let value = |name: &str| {
        let start = element.find(&format!(" {name}=\""))? + name.len() + 3;
        element.get(start..)?.split('"').next()
    };
    let role = value("class")?.strip_prefix("f-")?;
    Some((format!("s-{role} dots"), format!("M{} {}h0", value("cx")?, value("cy")?)))
}

/// Points of a polyline without those inside a level stretch, which draw nothing.
fn without_level_points(points: &str) -> String {
    let places: Vec<(&str, &str)> = points.split_whitespace().filter_map(|p| p.split_once(',')).collect();
    let kept: Vec<String> = places
        .iter()
        .enumerate()
        .filter(|&(i, p)| {
            let inside = i > 0 && i + 1 < places.len();
            !(inside && places[i - 1].1 == p.1 && places[i + 1].1 == p.1)
        })
        .map(|(_, (x, y))| format!("{x},{y}"))
        .collect();
    kept.join(" ")
}

/// One element: `fill="#FE00.."` and `stroke="#FE00.."` become a class, what has no effect goes.
fn classed(element: &str) -> String {
    // What the stylesheet gives every chart need not stand in each element.
    let mut element = element.to_owned();
    for (long, short) in [
        (" opacity=\"1\"", ""),
        (" font-family=\"sans-serif\"", ""),
        (" stroke=\"none\"", ""),
        (" fill=\"none\"", ""),
        (" dy=\"0.76em\" text-anchor=\"middle\"", " dy=\".76em\""),
        (" dy=\"0.5ex\" text-anchor=\"end\"", " dy=\".5ex\" text-anchor=\"end\""),
    ] {
        element = element.replace(long, short);
    }
    // Sizes of text and widths of lines are the stylesheet's.
    for attribute in [" font-size=\"", " stroke-width=\""] {
        if let Some(start) = element.find(attribute)
            && let Some(end) = element[start + attribute.len()..].find('"')
        {
            element.replace_range(start..=start + attribute.len() + end, "");
        }
    }
    if let Some(start) = element.find(" points=\"").map(|at| at + 9)
        && let Some(end) = element[start..].find('"')
    {
        let points = without_level_points(&element[start..start + end]);
        element.replace_range(start..start + end, &points);
    }
    let mut classes = String::new();
    for (attribute, prefix) in [("fill", "f"), ("stroke", "s")] {
        let start = format!(" {attribute}=\"#FE00");
        let Some(at) = element.find(&start) else { continue };
        let digits = at + start.len();
        let role = element
            .get(digits..digits + 2)
            .and_then(|hex| usize::from_str_radix(hex, 16).ok())
            .and_then(|n| ROLES.get(n))
            .map_or("ink", |(_, word)| word);
        element.replace_range(at..digits + 3, "");
        put!(classes, "{}{prefix}-{role}", if classes.is_empty() { "" } else { " " });
    }
    if element.starts_with("<text") && classes == "f-ink" {
        classes.clear();
    }
    let head = element.find([' ', '>']).unwrap_or(element.len());
    if !classes.is_empty() {
        element.insert_str(head, &format!(" class=\"{classes}\""));
    }
    element
}

//! Reads a plot back: the axes from their printed tick labels, then curves and marks in the units of the axes. Used by
//! the tests, which so check what a reader of the plot would read off it.

#![allow(clippy::unwrap_used, clippy::panic)]

/// A plot being read.
pub(crate) struct Reading {
    lines: Vec<String>,
    x: (f64, f64),
    y: (f64, f64),
}

/// Value of an attribute.
pub(crate) fn attribute<'a>(element: &'a str, name: &str) -> Option<&'a str> {
    let start = element.find(&format!(" {name}=\""))? + name.len() + 3;
    element[start..].split('"').next()
}

fn pixel(element: &str, name: &str) -> f64 {
    attribute(element, name).unwrap_or_else(|| panic!("{name} in {element}")).parse().unwrap()
}

/// The number of a tick label.
fn value(text: &str) -> Option<f64> {
    text.trim().replace('\u{2212}', "-").parse().ok()
}

/// Least squares through (pixel, value).
fn linear(points: &[(f64, f64)]) -> (f64, f64) {
    assert!(points.len() >= 2, "too few ticks: {points:?}");
    let n = points.len() as f64;
    let (mx, my) = (points.iter().map(|p| p.0).sum::<f64>() / n, points.iter().map(|p| p.1).sum::<f64>() / n);
    let slope = points.iter().map(|p| (p.0 - mx) * (p.1 - my)).sum::<f64>()
        / points.iter().map(|p| (p.0 - mx).powi(2)).sum::<f64>();
    (my - slope * mx, slope)
}

impl Reading {
    /// Finds the axes of a chart made by [`super::Chart`].
    pub(crate) fn of(svg: &str) -> Self {
        Self::named(svg, &[])
    }

    /// The same for a chart whose x axis has names: they stand for 0, 1, 2 ...
    pub(crate) fn named(svg: &str, names: &[String]) -> Self {
        let place = |text: &str| names.iter().position(|n| n == text.trim()).map(|n| n as f64);
        let svg = svg.replace('<', "\n<");
        let lines: Vec<String> = svg.lines().map(str::to_owned).collect();
        let ticks: Vec<(f64, f64, f64)> = lines
            .iter()
            .filter(|l| l.starts_with("<text") && !l.contains("transform"))
            .filter_map(|l| {
                Some((
                    pixel(l, "x"),
                    pixel(l, "y"),
                    place(l.split('>').nth(1)?).or_else(|| value(l.split('>').nth(1)?))?,
                ))
            })
            .collect();
        // Ticks of the x axis share their y, those of the y axis their x.
        let along = |same: fn(&(f64, f64, f64)) -> f64, place: fn(&(f64, f64, f64)) -> f64| {
            let mut best: Vec<(f64, f64)> = Vec::new();
            for tick in &ticks {
                let row: Vec<_> = ticks.iter().filter(|t| same(t) == same(tick)).map(|t| (place(t), t.2)).collect();
                if row.len() > best.len() {
                    best = row;
                }
            }
            linear(&best)
        };
        let x = along(|t| t.1, |t| t.0);
        let y = along(|t| t.0, |t| t.1);
        Self { lines, x, y }
    }

    fn x(&self, pixel: f64) -> f64 {
        self.x.0 + self.x.1 * pixel
    }

    fn y(&self, pixel: f64) -> f64 {
        self.y.0 + self.y.1 * pixel
    }

    fn with_class<'a>(&'a self, class: &'a str) -> impl Iterator<Item = &'a String> {
        self.lines.iter().filter(move |l| attribute(l, "class") == Some(class))
    }

    /// Points of the first curve of that class, not counting marks.
    pub(crate) fn curve(&self, class: &str) -> Vec<(f64, f64)> {
        self.curves(class).into_iter().next().unwrap_or_else(|| panic!("no curve {class}"))
    }

    /// All curves of that class.
    pub(crate) fn curves(&self, class: &str) -> Vec<Vec<(f64, f64)>> {
        self.with_class(class)
            .filter_map(|l| attribute(l, "points"))
            .map(|points| {
                points
                    .split_whitespace()
                    .map(|p| p.split_once(',').unwrap())
                    .map(|(a, b)| (self.x(a.parse().unwrap()), self.y(b.parse().unwrap())))
                    .collect()
            })
            .collect()
    }

    /// The dots of that class.
    pub(crate) fn dots(&self, class: &str) -> Vec<(f64, f64)> {
        self.with_class(class)
            .filter_map(|l| attribute(l, "d"))
            .flat_map(|d| d.split('M').filter(|p| !p.is_empty()))
            .map(|p| p.trim_end_matches("h0").split_once(' ').unwrap())
            .map(|(x, y)| (self.x(x.parse().unwrap()), self.y(y.parse().unwrap())))
            .collect()
    }

    /// x of the vertical mark of that class.
    pub(crate) fn x_of_upright(&self, class: &str) -> f64 {
        self.curves(class)
            .into_iter()
            .find(|c| c.len() == 2 && (c[0].0 - c[1].0).abs() < 1e-9)
            .unwrap_or_else(|| panic!("no upright {class}"))[0]
            .0
    }

    /// y of the horizontal mark of that class.
    pub(crate) fn y_of_level(&self, class: &str) -> f64 {
        self.curves(class)
            .into_iter()
            .find(|c| c.len() == 2 && (c[0].1 - c[1].1).abs() < 1e-9)
            .unwrap_or_else(|| panic!("no level {class}"))[0]
            .1
    }
}

/// Asserts that two numbers agree within `tolerance`.
#[track_caller]
pub(crate) fn near(got: f64, expected: f64, tolerance: f64) {
    assert!((got - expected).abs() <= tolerance, "{got} is not {expected} within {tolerance}");
}

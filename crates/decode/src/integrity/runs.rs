//! Constant stretches that follow the file and not the subject.

use super::segments::Segments;
use super::{Range, rows};
use crate::backend::Decoded;

/// Stretches of 128 that make a run worth judging: that many samples of one value, over several colours.
const FEWEST: usize = 1;
/// Rows of dummy lines at the top or bottom that some sensors have.
const DUMMY_ROWS: usize = 32;
/// Samples of a stretch that a run may go on into without filling it, at least.
const PART: usize = 16;
/// Runs of one value that follow the file. A subject makes one in each row it crosses.
const FEW: usize = 3;

/// A run of constant stretches of one value, along the rows and on into the next ones.
#[derive(Debug, Clone, Copy)]
struct Run {
    first: usize,
    /// After the last.
    end: usize,
    value: u16,
}

pub(super) fn look(decoded: &Decoded, segments: &Segments, range: &Range) -> Option<String> {
    let runs = runs(segments);
    let whole = segments.all.len();
    if let [run] = runs[..]
        && run.end - run.first == whole
    {
        // Blown from corner to corner is a picture, and so is black without noise (a lens cap before a very quiet or
        // simulated sensor). Files are filled up with zeros, and any other constant is no picture either.
        let value = f64::from(run.value);
        let blown = value >= range.black_dn + 0.5 * range.span();
        let capped = run.value > 0 && (value - range.black_dn).abs() <= 1.0;
        return (!blown && !capped)
            .then(|| format!("every sample has the value {}: the sensor data were not written", run.value));
    }
    let impossible = |r: &&Run| range.low_dn > 0 && r.value < range.low_dn && !outside(decoded, segments, r);
    if let Some(run) = runs.iter().find(impossible) {
        return Some(describe(segments, run, "which lies far below black"));
    }
    runs.iter()
        .filter(|r| {
            let alike = runs.iter().filter(|o| o.value == r.value).count();
            let singles = segments.all.iter().filter(|s| s.constant() && s.least == r.value).count();
            let in_runs: usize = runs.iter().filter(|o| o.value == r.value).map(|o| o.end - o.first).sum();
            alike <= FEW && singles - in_runs <= FEW && follows_file(decoded, segments, r, range)
        })
        .take(1)
        .map(|r| describe(segments, r, "from one edge of a row into the next, as no subject does"))
        .next()
}

fn describe(segments: &Segments, run: &Run, why: &str) -> String {
    let (first, last) = (run.first / segments.per_row, (run.end - 1) / segments.per_row);
    let lines = rows(first, last);
    format!("{lines}: a stretch of the constant value {}, {why}: these data are missing", run.value)
}

fn runs(segments: &Segments) -> Vec<Run> {
    let mut runs: Vec<Run> = Vec::new();
    let mut open: Option<Run> = None;
    for (i, segment) in segments.all.iter().enumerate() {
        if let Some(run) = open.as_mut().filter(|r| segment.constant() && segment.least == r.value) {
            run.end = i + 1;
            continue;
        }
        runs.extend(open.take().filter(|r| r.end - r.first >= FEWEST));
        open = segment.constant().then_some(Run { first: i, end: i + 1, value: segment.least });
    }
    runs.extend(open.filter(|r| r.end - r.first >= FEWEST));
    runs
}

/// Lines and columns outside the picture, and whole dummy rows at its edge where the file does not say what the
/// picture is.
fn outside(decoded: &Decoded, segments: &Segments, run: &Run) -> bool {
    let spp = decoded.filter.samples_per_pixel;
    let a = &decoded.active;
    let inside = (run.first..run.end).any(|i| {
        let (row, (start, end)) = (i / segments.per_row, segments.span(i));
        (a.y..a.bottom()).contains(&row) && end.min(a.right() * spp) > start.max(a.x * spp) + 64
    });
    if !inside {
        return true;
    }
    let (first_row, last_row) = (run.first / segments.per_row, (run.end - 1) / segments.per_row);
    let whole_rows = run.first.is_multiple_of(segments.per_row) && run.end.is_multiple_of(segments.per_row);
    let at_edge = first_row == 0 || last_row + 1 == segments.rows;
    let unknown = a.width == decoded.width && a.height == decoded.height;
    whole_rows && at_edge && unknown && last_row - first_row < DUMMY_ROWS
}

/// True where the run goes with the file: it begins or ends inside a row and fills the rows between, or it lies in one
/// row and the rows above and below know nothing of it.
fn follows_file(decoded: &Decoded, segments: &Segments, run: &Run, range: &Range) -> bool {
    if outside(decoded, segments, run) {
        return false;
    }
    let n = segments.per_row;
    // It may also begin in the last stretch of a row, or end in the first one, without filling it.
    let samples = |row: usize| row * segments.row_samples();
    let same = |sample: &&u16| **sample == run.value;
    let begins_inside = !run.first.is_multiple_of(n)
        || decoded.samples[..samples(run.first / n)].iter().rev().take_while(same).count() >= PART;
    let ends_inside =
        !run.end.is_multiple_of(n) || decoded.samples[samples(run.end / n)..].iter().take_while(same).count() >= PART;
    let wraps = run.first / n != (run.end - 1) / n;
    let step = decoded.filter.rows.max(2);
    let bright = f64::from(run.value) >= range.black_dn + 0.5 * range.span();
    let far = |index: Option<usize>| match index.and_then(|i| segments.all.get(i)) {
        // A blown subject ends inside the stretch of the next row: what is left of it is as blown.
        Some(s) if bright && s.most >= run.value => false,
        // The neighbour of the same colour is somewhere else altogether, not almost there.
        Some(s) => {
            let middle = (f64::from(s.least) + f64::from(s.most)) / 2.0;
            (middle - f64::from(run.value)).abs() > 0.05 * range.span().min(f64::from(run.value).max(64.0) * 4.0)
        }
        None => true,
    };
    let above = || {
        let upper: Vec<usize> = (run.first..run.end.min(run.first + n)).collect();
        let count = upper.iter().filter(|&&i| far(i.checked_sub(step * n))).count();
        5 * count >= 4 * upper.len()
    };
    let below = || {
        let lower: Vec<usize> = (run.first.max(run.end.saturating_sub(n))..run.end).collect();
        let count = lower.iter().filter(|&&i| far(Some(i + step * n))).count();
        5 * count >= 4 * lower.len()
    };
    if wraps { (begins_inside || ends_inside) && above() && below() } else { above() && below() }
}

//! Rise in the middle and in the corners of the frame.

use crate::RiseMap;

/// Tiles nearer to the middle than this share of the half diagonal are the centre.
const CENTRE: f64 = 0.35;
/// Tiles further out than this share are the corners.
const CORNERS: f64 = 0.72;

/// Median rise of the centre, pixels.
pub(crate) fn centre_rise_px(map: &RiseMap) -> Option<f64> {
    zone_rise_px(map, |r| r < CENTRE)
}

/// Median rise of the corners, pixels.
pub(crate) fn corners_rise_px(map: &RiseMap) -> Option<f64> {
    zone_rise_px(map, |r| r > CORNERS)
}

/// Median rise of the tiles whose distance from the middle, in half diagonals, passes `wanted`.
fn zone_rise_px(map: &RiseMap, wanted: impl Fn(f64) -> bool) -> Option<f64> {
    if map.rise_px.len() != map.cols * map.rows {
        return None;
    }
    let (width, height) = (map.cols as f64, map.rows as f64);
    let rises = map.rise_px.iter().enumerate().filter_map(|(i, rise)| {
        let x = (i % map.cols) as f64 + 0.5 - width / 2.0;
        let y = (i / map.cols) as f64 + 0.5 - height / 2.0;
        // The half diagonal reaches to the middle of the corner tile.
        let reach = (width - 1.0).hypot(height - 1.0) / 2.0;
        (reach > 0.0 && wanted(x.hypot(y) / reach)).then_some(*rise).flatten()
    });
    super::stats::median_of(rises)
}

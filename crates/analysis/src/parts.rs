//! The passes that [`measure`](crate::measure) shares, one by one: for the benches.

use rawassay_decode::Frame;

use crate::Channel;
use crate::measures::clipping::{Floor, Thresholds, clipping};
use crate::measures::flat_blocks::{Blocks, Usable};
use crate::measures::histogram::histograms;
use crate::measures::noise::noise;
use crate::measures::{hot_pixels, masked};

/// What [`run`] knows.
pub const NAMES: [&str; 6] =
    ["histograms", "blocks", "noise and banding", "hot pixels", "clipping and likeness", "masked"];

/// Runs one part; `channels` are those that were measured of the frame. Gives a number that depends on the outcome.
#[must_use]
pub fn run(part: &str, frame: &Frame, channels: &[Channel]) -> u64 {
    match part {
        "histograms" => histograms(frame).iter().map(|h| h.total()).sum(),
        "blocks" => Blocks::measure(frame).corners.len() as u64,
        "noise and banding" => {
            let usable: Vec<Usable> = channels
                .iter()
                .map(|c| Usable { black_dn: c.black_dn, floor_dn: None, clipped_from: c.saturation_dn })
                .collect();
            noise(frame, &Blocks::measure(frame), &usable, [None; 2]).flat_patches
        }
        "hot pixels" => {
            let line = |c: &Channel| (1.0 / c.gain_e_per_dn.unwrap_or(1.0), c.read_noise_dn.unwrap_or(1.0).powi(2));
            let lines: Vec<(f64, f64)> = channels.iter().map(line).collect();
            let variance = |p: usize, dn: f64| lines[p].0 * (dn - channels[p].black_dn).max(0.0) + lines[p].1;
            let clipped_from: Vec<f64> = channels.iter().map(|c| c.saturation_dn).collect();
            hot_pixels::count(frame, &clipped_from, |p, dn| (variance(p, dn), variance(p, dn)))
                .ok()
                .flatten()
                .unwrap_or(0)
        }
        "clipping and likeness" => {
            let threshold = |c: &Channel| Thresholds {
                clipped_from: c.saturation_dn as u32,
                floor: Some(Floor::at(c.black_dn)),
                black_dn: c.black_dn,
                saturation_dn: c.saturation_dn,
                pictured: c.name.starts_with('G'),
            };
            clipping(frame, &channels.iter().map(threshold).collect::<Vec<_>>()).area_count
        }
        _ => masked::measure(frame).read_noise_dn.len() as u64,
    }
}

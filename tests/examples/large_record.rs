//! Writes a record of many simulated frames, to time the commands that read one:
//!
//!     cargo run --release -p rawassay-tests --example large_record -- 20000 large.ndjson
//!     time rawassay sets large.ndjson --format json > sets.json
//!
//! Bursts, brackets, and test series over ISO, f-stop and exposure time, by two invented cameras. With `alike` behind the
//! name, frames of one scene at one time instead: the worst that can be asked of `sets`.
#![allow(clippy::unwrap_used)]

use std::io::Write;

use rawassay_tests::session::{Body, Dice, Take, clock, record};

fn main() {
    let mut arguments = std::env::args().skip(1);
    let frames: usize = arguments.next().map_or(20_000, |n| n.parse().unwrap());
    let path = arguments.next().unwrap_or_else(|| "large.ndjson".into());
    let mut out = std::io::BufWriter::new(std::fs::File::create(path).unwrap());
    let alike = arguments.next().is_some_and(|word| word == "alike");
    let bodies = [Body::common(), Body { model: "Meridian 96", serial: Some("M96-0007"), ..Body::common() }];
    let mut dice = Dice(1);
    let mut seconds = 0.0;
    for i in 0..frames {
        let (set, within) = (i / 5, i % 5);
        let stops = within as f64;
        let base = Take {
            file: format!("shoot/F{i:05}.dng"),
            taken_at: Some(clock(seconds)),
            scene: set as u64,
            motion_px: if dice.uniform() < 0.2 { 8.0 * dice.uniform() } else { 0.0 },
            motion_deg: 180.0 * dice.uniform(),
            focal_mm: [24.0, 35.0, 50.0, 85.0, 200.0][set % 5],
            ..Take::default()
        };
        let (take, pause) = match set % 4 {
            _ if alike => (Take { scene: 0, focal_mm: 50.0, ..base }, 0.0),
            0 => (base, 0.2),
            1 => (Take { shutter_s: (stops - 2.0).exp2() / 250.0, ..base }, 0.5),
            2 => (Take { iso: 100.0 * stops.exp2(), shutter_s: 1.0 / (250.0 * stops.exp2()), ..base }, 3.0),
            _ => (Take { f_number: 2.8 * (stops / 2.0).exp2(), ..base }, 3.0),
        };
        seconds += pause + if within == 4 && !alike { 20.0 } else { 0.0 };
        // The clock of the example has one day.
        seconds %= 50_000.0;
        serde_json::to_writer(&mut out, &record(&bodies[if alike { 0 } else { set % 2 }], &take, &mut dice)).unwrap();
        out.write_all(b"\n").unwrap();
    }
    out.flush().unwrap();
}

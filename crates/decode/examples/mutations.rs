//! Cuts, fills and overwrites files in many ways and says what becomes of each:
//! `cargo run -p rawassay-decode --example mutations -- FILE...`. Anything that is called whole with samples that differ
//! from the original's is listed.
#![allow(clippy::print_stdout)]

use std::path::Path;

use rawassay_decode::{Frame, Integrity, open_bytes};

fn main() {
    for name in std::env::args().skip(1) {
        let path = Path::new(&name);
        let Ok(bytes) = std::fs::read(path) else { continue };
        let whole = match open_bytes(path, bytes.clone()) {
            Ok(frame) => frame,
            Err(error) => {
                println!("{name}: {error}");
                continue;
            }
        };
        println!("{name}: {:?}", whole.integrity);
        let mut counts = [0_usize; 4];
        let mut state = 7_u64;
        let mut random = move || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) as usize
        };
        for round in 0..120 {
            let mut broken = bytes.clone();
            let n = bytes.len();
            let label = match round % 6 {
                0 => {
                    let at = (n as u64 * (round as u64 + 1) / 122) as usize;
                    broken.truncate(at);
                    format!("cut at {at}")
                }
                1 => {
                    let at = (n as u64 * (round as u64 + 1) / 122) as usize;
                    broken[at..].fill(0);
                    format!("zeros from {at}")
                }
                kind => {
                    let length = [512, 4096, 32_768, 131_072][random() % 4].min(n / 4);
                    let at = random() % (n - length) / 512 * 512;
                    match kind {
                        2 => broken[at..at + length].fill(0),
                        3 => broken[at..at + length].fill(0xff),
                        4 => broken[at..at + length].iter_mut().for_each(|b| *b = random() as u8),
                        _ => broken.drain(at..at + length).for_each(drop),
                    }
                    format!("{} {length} at {at}", ["", "", "zeros", "ones", "random", "dropped"][kind])
                }
            };
            match open_bytes(path, broken) {
                Err(error) => {
                    counts[0] += 1;
                    if std::env::var_os("VERBOSE").is_some() {
                        println!("  {label}: {error}");
                    }
                }
                Ok(Frame { integrity: Integrity::Damaged { reason }, .. }) => {
                    counts[1] += 1;
                    if std::env::var_os("VERBOSE").is_some() {
                        println!("  {label}: damaged: {reason}");
                    }
                }
                Ok(frame) => {
                    let same = frame.samples.len() == whole.samples.len();
                    let wrong = frame.samples.iter().zip(&whole.samples).filter(|(a, b)| a != b).count();
                    if same && wrong == 0 {
                        counts[2] += 1;
                    } else {
                        counts[3] += 1;
                        let share = 100.0 * wrong as f64 / whole.samples.len() as f64;
                        println!("  MISSED {label}: {share:.4} % wrong ({wrong})");
                    }
                }
            }
        }
        println!("  errors {} damaged {} unharmed {} missed {}", counts[0], counts[1], counts[2], counts[3]);
    }
}

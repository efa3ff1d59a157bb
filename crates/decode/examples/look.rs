//! Prints what a raw file decodes to: `cargo run --release -p rawassay-decode --example look -- FILE...`
#![allow(clippy::print_stdout)]

use std::path::Path;
use std::time::Instant;

fn main() {
    for name in std::env::args().skip(1) {
        let path = Path::new(&name);
        let start = Instant::now();
        match rawassay_decode::open(path) {
            Ok(frame) => {
                println!("{name}: {:.1} ms", start.elapsed().as_secs_f64() * 1000.0);
                println!("  {} x {} {}, {:?}", frame.width, frame.height, frame.filter.word(), frame.active);
                println!("  masked {:?}", frame.masked);
                for (plane, levels) in frame.filter.planes.iter().zip(&frame.levels) {
                    println!("  {:3} {levels:?}", plane.name);
                }
                println!("  {:?}", frame.shot);
                println!("  {:?} dithered {} {:?}", frame.reader, frame.dithered, frame.integrity);
                println!("  noise profile {:?} notes {:?}", frame.noise_profile, frame.notes);
                let preview = std::fs::read(path).ok().and_then(|b| rawassay_decode::preview(&b));
                println!("  preview {:?} bytes", preview.map(|p| p.jpeg.len()));
            }
            Err(error) => println!("{name}: {error}"),
        }
    }
}

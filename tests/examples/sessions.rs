//! Series and sets over many simulated sessions through the whole chain, for the figures in docs/accuracy.md:
//!
//!     cargo run --release -p rawassay-tests --example sessions
//!
//! The committed tests (tests/accuracy/sessions.rs) hold a part of it.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use rawassay_analysis::series::{By, Group, Held, series};
use rawassay_analysis::sets::{Sets, sets};
use rawassay_analysis::{Brief, FrameRow, Judgement, RowMaker, judge, print};
use rawassay_report::Record;
use rawassay_tests::chain::records;
use rawassay_tests::chain_sessions::{Chapter, SIZE, aperture_test, burst, day, hand_held_test};

const BRIEF: &str = "name = \"small\"\n[output]\nkind = \"print\"\nsize = \"10 x 15 cm\"\ndistance = \"90 cm\"\n\
                     ppi_wanted = 80\nppi_least = 40\n";

fn with_rows<T>(records: &[Record], brief: &Brief, look: impl FnOnce(&[FrameRow]) -> T) -> T {
    let judgements: Vec<Judgement> = records.iter().map(|r| judge::judge(&r.subject(), brief, None)).collect();
    let mut maker = RowMaker::default();
    let rows: Vec<FrameRow> = records
        .iter()
        .zip(&judgements)
        .map(|(record, judgement)| {
            let (shot, measures) = (record.shot.as_ref().unwrap(), record.measures.as_ref().unwrap());
            maker.row(&record.file, shot, measures, judgement, false)
        })
        .collect();
    look(&rows)
}

fn first_group(by: By, records: &[Record], brief: &Brief) -> Group {
    let held = Held { brief, name: "small", keeper_share: 0.9 };
    with_rows(records, brief, |rows| series(by, rows, &held)).groups.remove(0)
}

fn main() {
    let brief = Brief::parse(BRIEF, "small.toml").unwrap();

    let (mut close, mut held, mut worst, mut cases) = (0, 0, 0.0_f64, 0);
    for (case, (wide_px, falls, pitch_um)) in
        [(2.2, 1.0, 5.9), (4.5, 1.5, 3.8), (6.0, 2.0, 4.4), (1.4, 0.8, 4.4), (3.0, 1.2, 3.0), (9.0, 2.0, 7.8)]
            .into_iter()
            .enumerate()
    {
        for seed in 0..2 {
            let (recipes, truth) = aperture_test(2, wide_px, falls, pitch_um, 11 * seed + case as u64);
            let best = first_group(By::Aperture, &records(&recipes), &brief).best.unwrap();
            let off = 2.0 * (best.setting.number().unwrap() / truth).log2();
            cases += 1;
            close += u32::from(off.abs() <= 1.0 / 3.0);
            held += u32::from(best.low.is_none_or(|l| l <= truth) && best.high.is_none_or(|h| truth <= h));
            worst = if off.abs() > worst.abs() { off } else { worst };
        }
    }
    println!(
        "sharpest f-stop: {close} of {cases} within 1/3 stop, worst {worst:+.2} stop, {held} of {cases} intervals hold it"
    );

    let limit_mm = brief.limits.motion_eye_limits.borderline * print::seen(&brief.output).finest_mm;
    let limit_px = limit_mm * f64::max(SIZE.0 as f64 / 150.0, SIZE.1 as f64 / 100.0);
    let mut ratios = Vec::new();
    let mut held = 0;
    for seed in 0..12 {
        let k = [1.0, 2.0, 2.5, 4.0][seed as usize % 4];
        let group = first_group(By::Shutter, &records(&hand_held_test(120, k, limit_px, seed)), &brief);
        let found = group.readings.get("k");
        held += u32::from(found.low.is_some_and(|l| l <= k) && found.high.is_some_and(|h| k <= h));
        ratios.push(found.value.map_or(f64::NAN, |v| v / k));
    }
    let close = ratios.iter().filter(|r| (*r - 1.0).abs() <= 0.2).count();
    println!(
        "k from 120 frames: {close} of 12 within 20 %, {held} of 12 intervals hold it; k found / true {ratios:.2?}"
    );

    let (mut right, mut alone) = (0, 0);
    for seed in 0..100 {
        let (recipes, good) = burst(4, seed, 100.0);
        let records = records(&recipes);
        let found: Sets = with_rows(&records, &brief, sets);
        alone += u32::from(found.bursts.len() == 1 && found.brackets.is_empty());
        let best = found.bursts.first().and_then(|b| b.best.clone());
        right += u32::from(best.as_deref() == Some(records[good].file.as_str()));
    }
    println!("bursts of 4: {alone} of 100 found whole, best right in {right} of 100");

    let (mut sets_in, mut sets_found, mut false_sets) = (0, 0, 0);
    for seed in 0..10 {
        let (recipes, truth) = day(12, seed);
        let records = records(&recipes);
        let found: Sets = with_rows(&records, &brief, sets);
        for (kind, range) in truth {
            let files: Vec<&str> = records[range].iter().map(|r| r.file.as_str()).collect();
            let bursts = || found.bursts.iter().map(|b| &b.files);
            let brackets = || found.brackets.iter().map(|b| &b.files);
            match kind {
                Chapter::Burst | Chapter::Bracket => {
                    sets_in += 1;
                    let is = |set: &Vec<String>| set == &files;
                    sets_found += u32::from(if kind == Chapter::Burst { bursts().any(is) } else { brackets().any(is) });
                }
                Chapter::Test | Chapter::Singles => {
                    let touches = |set: &Vec<String>| set.iter().any(|f| files.contains(&f.as_str()));
                    false_sets += u32::from(bursts().chain(brackets()).any(touches));
                }
            }
        }
    }
    println!(
        "ten days: {sets_found} of {sets_in} bursts and brackets found whole and told apart, {false_sets} false sets in 80 other chapters"
    );
}

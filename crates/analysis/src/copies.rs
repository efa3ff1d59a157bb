//! Frames that are in a record twice: a card and its backup, a raw and its conversion.

use std::collections::HashMap;
use std::hash::{DefaultHasher, Hash, Hasher};

use crate::FrameRow;
use crate::view::file_name;

/// Takes out the frames whose file is another's copy, byte for byte (a card and its backup), or another form of the same
/// frame (a raw and what it was converted to): neither is a second take. The first stays; a sentence says how many went.
#[must_use]
pub fn without_copies(mut frames: Vec<FrameRow>) -> (Vec<FrameRow>, Option<String>) {
    let mut contents: HashMap<u64, Box<str>> = HashMap::new();
    let mut takes: HashMap<u64, Box<str>> = HashMap::new();
    let mut copies = 0;
    let mut example = None;
    frames.retain(|frame| {
        let (content, take) = (frame.content, take(frame));
        let of_content = content.and_then(|content| contents.get(&content));
        if let Some(first) = of_content.or_else(|| take.and_then(|take| takes.get(&take))) {
            copies += 1;
            example.get_or_insert_with(|| format!("{} is one of {first}", frame.file));
            return false;
        }
        contents.extend(content.map(|content| (content, frame.file.clone())));
        takes.extend(take.map(|take| (take, frame.file.clone())));
        true
    });
    let told = example.map(|example| {
        let files = match copies {
            1 => "1 file is a copy or another form of a frame that is there already and was".to_string(),
            _ => format!("{copies} files are copies or other forms of frames that are there already and were"),
        };
        format!("{files} not counted again ({example}).")
    });
    (frames, told)
}

/// What names the exposure: body, time, settings and the file's name without folder and extension. `None` where the file
/// tells no time.
fn take(frame: &FrameRow) -> Option<u64> {
    let clock = frame.clock?;
    let name = file_name(&frame.file);
    let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem).to_lowercase();
    let number = |value: Option<f64>| value.map(f64::to_bits);
    let settings = (number(frame.shutter_s()), number(frame.iso()), number(frame.f_number()));
    let mut hasher = DefaultHasher::new();
    (frame.camera(), stem, clock.seconds.to_bits(), settings).hash(&mut hasher);
    Some(hasher.finish())
}

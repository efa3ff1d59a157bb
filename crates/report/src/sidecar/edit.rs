//! Editing an existing sidecar: finds the byte ranges of our properties by streaming over the events, cuts them out and
//! puts the new ones in. Nothing else is read into a model, so nothing else can be lost.

use std::ops::Range;

use super::walk::{Place, walk};
use super::{Earlier, Sidecar, Tags, block};

/// Why a sidecar is left alone.
#[derive(Debug, thiserror::Error)]
pub enum SidecarError {
    /// Not UTF-8.
    #[error("not UTF-8 text; convert it or move it away")]
    Encoding,
    /// Not well-formed.
    #[error("not well-formed XML at byte {offset} ({what}); repair it or move it away")]
    Malformed {
        /// Where, bytes from the start of the file.
        offset: u64,
        /// What the parser says.
        what: String,
    },
    /// No XMP in it.
    #[error("well-formed, but without an rdf:RDF element: not an XMP sidecar; move it away")]
    NotXmp,
}

/// Puts our properties into an existing sidecar.
pub(super) fn edit(bytes: &[u8], tags: &Tags) -> Result<Sidecar, SidecarError> {
    let text = std::str::from_utf8(bytes).map_err(|_| SidecarError::Encoding)?;
    // Byte order marks are kept, but are none of the parser's business: it would leave one out of its places.
    let skipped = text.len() - text.trim_start_matches('\u{feff}').len();
    let body = &text[skipped..];
    let found = walk(body)?;
    let place = found.end_of_rdf.ok_or(SidecarError::NotXmp)?;
    let mut cuts = found.ours;
    // A rating or a label that another hand wrote stays; ours gives way to a new one.
    let foreign = |there: &[(Range<usize>, String)], mine: &Option<String>| {
        there.iter().any(|(_, value)| mine.as_deref() != Some(value.as_str()))
    };
    let foreign_rating = foreign(&found.ratings, &found.earlier.rating);
    let foreign_label = foreign(&found.labels, &found.earlier.label);
    let rating_kept = tags.rating.is_some() && foreign_rating;
    let label_kept = tags.label.is_some() && foreign_label;
    let (cut_ratings, cut_labels) = (tags.rating.is_some() && !foreign_rating, tags.label.is_some() && !foreign_label);
    if cut_ratings {
        cuts.extend(found.ratings.iter().map(|(range, _)| range.clone()));
    }
    if cut_labels {
        cuts.extend(found.labels.iter().map(|(range, _)| range.clone()));
    }
    for emptied in &found.empty {
        let all_go = (cut_ratings || emptied.ratings.is_empty()) && (cut_labels || emptied.labels.is_empty());
        if all_go && !(emptied.ours.is_empty() && emptied.ratings.is_empty() && emptied.labels.is_empty()) {
            cuts.push(emptied.range.clone());
        }
    }
    let still = |there: &[(Range<usize>, String)], mine: Option<String>| {
        mine.filter(|mine| there.iter().any(|(_, value)| value == mine))
    };
    let earlier = Earlier {
        rating: still(&found.ratings, found.earlier.rating),
        label: still(&found.labels, found.earlier.label),
    };
    let rating = tags.rating.filter(|_| !rating_kept);
    let label = tags.label.as_deref().filter(|_| !label_kept);
    let about = found.about.unwrap_or_else(|| "rdf:about=\"\"".to_string());
    let block = block(tags, &about, rating, label, &earlier);
    let mut out = String::with_capacity(text.len() + block.len() + 32);
    out.push_str(&text[..skipped]);
    let (at, until, insert) = match place {
        Place::Before(at) => {
            // Before the white space that indents the end tag, so that a second run leaves the same file.
            let start = body[..at].trim_end_matches([' ', '\t', '\r', '\n']).len();
            (start, start, block)
        }
        Place::Empty(range, name) => {
            let open = body[range.clone()].trim_end_matches('>').trim_end_matches('/').trim_end().to_string();
            (range.start, range.end, format!("{open}>{block}\n </{name}>"))
        }
    };
    // The widest first where two start together.
    cuts.sort_by_key(|cut| (cut.start, std::cmp::Reverse(cut.end)));
    let mut from = 0;
    for cut in cuts.into_iter().filter(|cut| !cut.is_empty()) {
        if cut.start < from {
            // Inside a range that is gone already.
            continue;
        }
        push_with(&mut out, body, from, cut.start, at, until, &insert);
        from = cut.end;
    }
    // A place inside the last cut is moved behind it.
    let at = at.max(from);
    push_with(&mut out, body, from, body.len(), at, until.max(at), &insert);
    Ok(Sidecar { bytes: out.into_bytes(), rating_kept, label_kept })
}

/// Copies `body[from..to]`, with `insert` in place of `at..until` where that starts inside.
fn push_with(out: &mut String, body: &str, from: usize, to: usize, at: usize, until: usize, insert: &str) {
    // The last stretch holds its end too; the others end before a cut that may start at the same place.
    if at >= from && (at < to || to == body.len()) {
        out.push_str(&body[from..at]);
        out.push_str(insert);
        out.push_str(&body[until..to]);
    } else {
        out.push_str(&body[from..to]);
    }
}

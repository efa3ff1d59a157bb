//! Walks over a sidecar and finds where its properties stand.

use std::ops::Range;

use quick_xml::events::{BytesStart, Event};
use quick_xml::name::{Namespace, QName, ResolveResult};
use quick_xml::reader::NsReader;

use super::edit::SidecarError;
use super::{Earlier, NAMESPACE, RDF, XMP};

/// What the walk over the file finds.
#[derive(Default)]
pub(super) struct Found {
    /// Byte ranges of our properties, to cut out.
    pub(super) ours: Vec<Range<usize>>,
    /// Descriptions that hold nothing foreign: they go as a whole where all their entries go.
    pub(super) empty: Vec<Emptied>,
    /// Ratings and labels that stand in the file: range to cut and text.
    pub(super) ratings: Vec<(Range<usize>, String)>,
    pub(super) labels: Vec<(Range<usize>, String)>,
    pub(super) earlier: Earlier,
    /// Where the new description goes: before `</rdf:RDF>`, or the whole of an empty `<rdf:RDF/>`.
    pub(super) end_of_rdf: Option<Place>,
    /// The `rdf:about` attribute of the first description, as it stands.
    pub(super) about: Option<String>,
}

pub(super) enum Place {
    Before(usize),
    /// Range of the empty element, its name.
    Empty(Range<usize>, String),
}

/// A description without anything foreign: its range, and its entries in the lists of [`Found`].
pub(super) struct Emptied {
    pub(super) range: Range<usize>,
    pub(super) ours: Range<usize>,
    pub(super) ratings: Range<usize>,
    pub(super) labels: Range<usize>,
}

/// A description being walked through.
struct Description {
    start: usize,
    /// Anything in it besides our properties, declarations and the subject.
    foreign: bool,
    /// Entries of the lists of [`Found`] before it.
    cuts: [usize; 3],
}

/// What a property is to us.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Whose {
    Ours,
    Rating,
    Label,
    Foreign,
}

fn malformed(offset: u64, what: impl ToString) -> SidecarError {
    SidecarError::Malformed { offset, what: what.to_string() }
}

/// Walks over the whole file once; also proves that it is well-formed.
pub(super) fn walk(body: &str) -> Result<Found, SidecarError> {
    let mut reader = NsReader::from_str(body);
    reader.config_mut().check_comments = true;
    let mut found = Found::default();
    let mut depth = 0_usize;
    let mut rdf_depth: Option<usize> = None;
    let mut description: Option<Description> = None;
    // Property being walked through: where it starts, whose it is, which of ours, its text.
    let mut property: Option<(usize, Whose, String, String)> = None;
    let mut roots = 0;
    loop {
        let start = position(&reader);
        let event = reader.read_event().map_err(|e| malformed(reader.error_position(), e))?;
        let end = position(&reader);
        match event {
            Event::Start(ref tag) | Event::Empty(ref tag) => {
                let empty = matches!(event, Event::Empty(_));
                roots += usize::from(depth == 0);
                check(&reader, tag, start)?;
                let is_rdf = |local: &str| name_of(&reader, tag.name()) == (Some(RDF), local.to_string());
                if rdf_depth.is_none() && found.end_of_rdf.is_none() && is_rdf("RDF") {
                    if empty {
                        let name = tag.name().into_inner().to_string();
                        found.end_of_rdf = Some(Place::Empty(start..end, name));
                    } else {
                        rdf_depth = Some(depth);
                    }
                } else if rdf_depth.is_some_and(|d| depth == d + 1) {
                    let cuts = [found.ours.len(), found.ratings.len(), found.labels.len()];
                    let foreign = attributes(&reader, tag, body, start..end, is_rdf("Description"), &mut found);
                    let inside = Description { start, foreign, cuts };
                    if empty {
                        close(inside, end, body, &mut found);
                    } else {
                        description = Some(inside);
                    }
                } else if rdf_depth.is_some_and(|d| depth == d + 2) && property.is_none() {
                    let (namespace, local) = name_of(&reader, tag.name());
                    let whose = whose(namespace, &local);
                    if empty {
                        end_property(start, end, whose, &local, "", body, &mut description, &mut found);
                    } else {
                        property = Some((start, whose, local, String::new()));
                    }
                }
                depth += usize::from(!empty);
            }
            Event::End(_) => {
                depth -= 1;
                if rdf_depth.is_some_and(|d| depth == d + 2) {
                    if let Some((from, whose, local, value)) = property.take() {
                        end_property(from, end, whose, &local, &value, body, &mut description, &mut found);
                    }
                } else if rdf_depth.is_some_and(|d| depth == d + 1) {
                    if let Some(inside) = description.take() {
                        close(inside, end, body, &mut found);
                    }
                } else if rdf_depth == Some(depth) {
                    found.end_of_rdf = Some(Place::Before(start));
                    rdf_depth = None;
                }
            }
            Event::Text(ref text) => {
                if depth == 0 && !body[start..end].trim().is_empty() {
                    return Err(malformed(start as u64, "text outside the root element"));
                }
                if let Some((_, _, _, value)) = &mut property {
                    value.push_str(text);
                } else if let Some(inside) = &mut description {
                    inside.foreign |= !body[start..end].trim().is_empty();
                }
            }
            Event::CData(ref text) => {
                if let Some((_, _, _, value)) = &mut property {
                    value.push_str(text);
                }
            }
            Event::GeneralRef(_) => {
                if let Some((_, _, _, value)) = &mut property {
                    let resolved = quick_xml::escape::unescape(&body[start..end]);
                    value.push_str(&resolved.map_err(|e| malformed(start as u64, e))?);
                }
            }
            // Comments and instructions in a description are somebody's: it stays.
            Event::Comment(_) | Event::PI(_) => {
                if let (Some(inside), None) = (&mut description, &property) {
                    inside.foreign = true;
                }
            }
            Event::Decl(_) | Event::DocType(_) => {}
            Event::Eof => break,
        }
    }
    if depth != 0 || roots != 1 {
        return Err(malformed(body.len() as u64, "an element is not closed, or there is not one root element"));
    }
    Ok(found)
}

fn position(reader: &NsReader<&[u8]>) -> usize {
    reader.buffer_position() as usize
}

/// Namespace and local name of an element.
fn name_of<'r>(reader: &'r NsReader<&[u8]>, name: QName<'_>) -> (Option<&'r str>, String) {
    let (namespace, local) = reader.resolver().resolve_element(name);
    (bound(namespace), local.into_inner().to_string())
}

fn bound(namespace: ResolveResult<'_>) -> Option<&str> {
    match namespace {
        ResolveResult::Bound(Namespace(uri)) => Some(uri),
        _ => None,
    }
}

fn whose(namespace: Option<&str>, local: &str) -> Whose {
    match (namespace, local) {
        (Some(NAMESPACE), _) => Whose::Ours,
        (Some(XMP), "Rating") => Whose::Rating,
        (Some(XMP), "Label") => Whose::Label,
        _ => Whose::Foreign,
    }
}

/// Well-formedness that the reader leaves to whoever looks: attributes, and prefixes without a declaration.
fn check(reader: &NsReader<&[u8]>, tag: &BytesStart<'_>, start: usize) -> Result<(), SidecarError> {
    let undeclared = |what: ResolveResult<'_>| matches!(what, ResolveResult::Unknown(_));
    if undeclared(reader.resolver().resolve_element(tag.name()).0) {
        return Err(malformed(start as u64, "a prefix is not declared"));
    }
    for attribute in tag.attributes() {
        let attribute = attribute.map_err(|e| malformed(start as u64, e))?;
        if attribute.key.as_namespace_binding().is_none()
            && undeclared(reader.resolver().resolve_attribute(attribute.key).0)
        {
            return Err(malformed(start as u64, "a prefix is not declared"));
        }
    }
    Ok(())
}

/// Looks through the attributes of a description for our properties (RDF allows simple ones to stand there); true where
/// it holds foreign ones.
fn attributes(
    reader: &NsReader<&[u8]>,
    tag: &BytesStart<'_>,
    body: &str,
    range: Range<usize>,
    is_description: bool,
    found: &mut Found,
) -> bool {
    let mut foreign = !is_description;
    for attribute in tag.attributes().flatten() {
        if attribute.key.as_namespace_binding().is_some() {
            continue;
        }
        let (namespace, local) = reader.resolver().resolve_attribute(attribute.key);
        let (namespace, local) = (bound(namespace), local.into_inner());
        let Some(cut) = attribute_range(body, &range, attribute.key.into_inner()) else { continue };
        let value = quick_xml::escape::unescape(&attribute.value).map(|v| v.into_owned()).unwrap_or_default();
        match whose(namespace, local) {
            Whose::Ours => {
                remember(local, &value, &mut found.earlier);
                found.ours.push(cut);
            }
            Whose::Rating => found.ratings.push((cut, value.trim().to_string())),
            Whose::Label => found.labels.push((cut, value)),
            Whose::Foreign if namespace == Some(RDF) && local == "about" => {
                if found.about.is_none() {
                    // With the prefix that our description declares.
                    let whole = &body[cut];
                    let value = whole.split_once('=').map_or("\"\"", |v| v.1.trim());
                    found.about = Some(format!("rdf:about={value}"));
                }
            }
            Whose::Foreign => foreign = true,
        }
    }
    foreign
}

/// Range of an attribute within its tag, with the white space before it.
fn attribute_range(body: &str, tag: &Range<usize>, name: &str) -> Option<Range<usize>> {
    let bytes = body.as_bytes();
    let mut at = tag.start + 1 + body[tag.start + 1..tag.end].find(|c: char| c.is_ascii_whitespace())?;
    loop {
        let space = at;
        at += body[at..tag.end].len() - body[at..tag.end].trim_start().len();
        let equals = at + body[at..tag.end].find('=')?;
        let open = equals + 1 + body[equals + 1..tag.end].find(['"', '\''])?;
        let close = open + 1 + body[open + 1..tag.end].find(bytes[open] as char)? + 1;
        if body[at..equals].trim_end() == name {
            return Some(space..close);
        }
        at = close;
    }
}

/// Keeps what an earlier run wrote outside our namespace.
fn remember(local: &str, value: &str, earlier: &mut Earlier) {
    match local {
        "rating_written" => earlier.rating = Some(value.trim().to_string()),
        "label_written" => earlier.label = Some(value.to_string()),
        _ => {}
    }
}

#[allow(clippy::too_many_arguments, reason = "one place where a property ends, for both its forms")]
fn end_property(
    start: usize,
    end: usize,
    whose: Whose,
    local: &str,
    value: &str,
    body: &str,
    description: &mut Option<Description>,
    found: &mut Found,
) {
    let range = with_indent(body, start)..end;
    match whose {
        Whose::Ours => {
            remember(local, value, &mut found.earlier);
            found.ours.push(range);
        }
        Whose::Rating => found.ratings.push((range, value.trim().to_string())),
        Whose::Label => found.labels.push((range, value.to_string())),
        Whose::Foreign => {
            if let Some(inside) = description {
                inside.foreign = true;
            }
        }
    }
}

/// Start of the white space before `start`.
fn with_indent(body: &str, start: usize) -> usize {
    body[..start].trim_end_matches([' ', '\t', '\r', '\n']).len()
}

/// Keeps a description that holds nothing foreign for the decision whether it goes as a whole.
fn close(inside: Description, end: usize, body: &str, found: &mut Found) {
    let [ours, ratings, labels] = inside.cuts;
    if !inside.foreign {
        found.empty.push(Emptied {
            range: with_indent(body, inside.start)..end,
            ours: ours..found.ours.len(),
            ratings: ratings..found.ratings.len(),
            labels: labels..found.labels.len(),
        });
    }
}

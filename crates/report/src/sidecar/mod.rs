//! XMP sidecars (ISO 16684-1): what was measured and judged, beside the raw file, for other programs to show.
//!
//! Ours are the properties of the namespace [`NAMESPACE`]. `xmp:Rating` and `xmp:Label` are written only when asked for,
//! and one that somebody else wrote stays. An existing sidecar is edited in place, byte for byte: only our own
//! properties are taken out and put in anew, everything else stays as it is, down to quotes and white space.

mod edit;
mod walk;

use std::fmt::Write as _;

pub use edit::SidecarError;

/// Namespace of our properties.
pub const NAMESPACE: &str = "https://rawassay.example/ns/1.0/";
/// Namespace of the standard's basic properties (ISO 16684-1, 8.4).
const XMP: &str = "http://ns.adobe.com/xap/1.0/";
/// Namespace of RDF.
const RDF: &str = "http://www.w3.org/1999/02/22-rdf-syntax-ns#";

/// What a sidecar says of a frame.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Tags {
    /// Name of the brief.
    pub brief: String,
    /// Outcome.
    pub outcome: String,
    /// Codes of the findings that count, borderline or worse, worst first.
    pub findings: Vec<String>,
    /// Codes of the findings that are notes.
    pub findings_noted: Vec<String>,
    /// Measures: name as in the scorecard, with its unit, and value; unknown ones are left out.
    pub measures: Vec<(&'static str, f64)>,
    /// `xmp:Rating`, -1 (rejected) to 5, where asked for.
    pub rating: Option<i8>,
    /// `xmp:Label`, where asked for.
    pub label: Option<String>,
}

/// A sidecar ready to be written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sidecar {
    /// The file.
    pub bytes: Vec<u8>,
    /// True where a rating that was asked for gave way to one that somebody else wrote.
    pub rating_kept: bool,
    /// The same for the label.
    pub label_kept: bool,
}

/// A new sidecar, or `existing` with our properties put in.
///
/// # Errors
/// Where `existing` is not well-formed XML in UTF-8 with an `rdf:RDF` element: it should be left alone.
pub fn write(existing: Option<&[u8]>, tags: &Tags) -> Result<Sidecar, SidecarError> {
    match existing {
        Some(bytes) => edit::edit(bytes, tags),
        None => Ok(Sidecar { bytes: new(tags).into_bytes(), rating_kept: false, label_kept: false }),
    }
}

fn new(tags: &Tags) -> String {
    let block = block(tags, "rdf:about=\"\"", tags.rating, tags.label.as_deref(), &Earlier::default());
    format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <x:xmpmeta xmlns:x=\"adobe:ns:meta/\" x:xmptk=\"rawassay {}\">\n <rdf:RDF xmlns:rdf=\"{RDF}\">{block}\n \
         </rdf:RDF>\n</x:xmpmeta>\n",
        env!("CARGO_PKG_VERSION")
    )
}

/// What an earlier run of ours wrote outside our namespace.
#[derive(Debug, Clone, PartialEq, Default)]
struct Earlier {
    rating: Option<String>,
    label: Option<String>,
}

/// Our properties as one description of the subject that `about` names (an attribute of RDF, whole).
fn block(tags: &Tags, about: &str, rating: Option<i8>, label: Option<&str>, earlier: &Earlier) -> String {
    let mut text = format!(
        "\n  <rdf:Description xmlns:rdf=\"{RDF}\" {about}\n    xmlns:xmp=\"{XMP}\"\n    \
         xmlns:rawassay=\"{NAMESPACE}\">"
    );
    let mut property = |name: &str, value: &str| {
        // Writing to a string cannot fail.
        let _ = write!(text, "\n   <{name}>{}</{name}>", quick_xml::escape::escape(value));
    };
    if let Some(rating) = rating {
        property("xmp:Rating", &rating.to_string());
    }
    if let Some(label) = label {
        property("xmp:Label", label);
    }
    // Remembered so that a later run knows its own hand from the photographer's.
    if let Some(rating) = rating.map(|r| r.to_string()).or(earlier.rating.clone()) {
        property("rawassay:rating_written", &rating);
    }
    if let Some(label) = label.or(earlier.label.as_deref()) {
        property("rawassay:label_written", label);
    }
    property("rawassay:brief", &tags.brief);
    property("rawassay:outcome", &tags.outcome);
    for (name, value) in tags.measures.iter().filter(|m| m.1.is_finite()) {
        property(&format!("rawassay:{name}"), &number(*value));
    }
    for (name, codes) in [("findings", &tags.findings), ("findings_noted", &tags.findings_noted)] {
        if codes.is_empty() {
            continue;
        }
        let _ = write!(text, "\n   <rawassay:{name}>\n    <rdf:Bag>");
        for code in codes {
            let _ = write!(text, "\n     <rdf:li>{}</rdf:li>", quick_xml::escape::escape(code.as_str()));
        }
        let _ = write!(text, "\n    </rdf:Bag>\n   </rawassay:{name}>");
    }
    text.push_str("\n  </rdf:Description>");
    text
}

/// Five significant digits, no exponent.
fn number(value: f64) -> String {
    if value == 0.0 {
        return "0".to_string();
    }
    let digits = (4 - value.abs().log10().floor() as i32).clamp(0, 9) as usize;
    let text = format!("{value:.digits$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_string() } else { text }
}

#[cfg(test)]
mod tests;

//! Sidecars against general XML and RDF libraries: lxml (canonical XML of everything foreign is unchanged) and rdflib
//! (every statement of the old file is in the new one, and ours are read as what they are). Reference: ISO 16684-1
//! (XMP as RDF/XML), W3C RDF/XML Syntax, Canonical XML 1.0.

use rawassay_report::sidecar::{NAMESPACE, Tags, write};

use crate::python;

/// Sidecars of many hands. Prefixes, quotes, comments, instructions and forms that a careless writer loses.
const FOREIGN: [(&str, &str); 5] = [
    (
        "prefixes",
        "<?xml version='1.0'?>\n<!-- before -->\n<?keep this?>\n<m:xmpmeta xmlns:m='adobe:ns:meta/'>\n\
         <r:RDF xmlns:r='http://www.w3.org/1999/02/22-rdf-syntax-ns#'>\n\
         <r:Description r:about='' xmlns:q='http://ns.adobe.com/xap/1.0/' xmlns:odd='http://example.org/odd#' \
         q:Rating='5' odd:flag='a &gt; \"b\"'><!-- inside --><odd:list><r:Seq><r:li>one</r:li>\
         <r:li xml:lang='de'>zwei &#228; &amp; drei</r:li></r:Seq></odd:list>\
         <q:Label><![CDATA[Mine & yours]]></q:Label></r:Description>\n\
         <r:Description r:about='' xmlns:dc='http://purl.org/dc/elements/1.1/'><dc:title><r:Alt>\
         <r:li xml:lang='x-default'>Harbour &lt;3&gt;</r:li></r:Alt></dc:title></r:Description>\n\
         </r:RDF></m:xmpmeta>\n<!-- after -->",
    ),
    (
        "packet",
        "<?xpacket begin='\u{feff}' id='W5M0MpCehiHzreSzNTczkc9d'?><x:xmpmeta xmlns:x='adobe:ns:meta/'>\
         <rdf:RDF xmlns:rdf='http://www.w3.org/1999/02/22-rdf-syntax-ns#'><rdf:Description rdf:about='uuid:f00' \
         xmlns:dev='http://example.org/develop/' dev:contrast='+12' dev:curve='0, 0, 255, 255'/>\
         </rdf:RDF></x:xmpmeta>                    \n                  <?xpacket end='w'?>",
    ),
    (
        "nested",
        "<rdf:RDF xmlns:rdf='http://www.w3.org/1999/02/22-rdf-syntax-ns#' xmlns:h='urn:history#'>\
         <rdf:Description rdf:about=''><h:step rdf:parseType='Resource'><h:what>crop</h:what><h:by>4</h:by></h:step>\
         <h:link rdf:resource='urn:x:y'/><h:deep><rdf:Description><h:rawassay>not ours</h:rawassay></rdf:Description>\
         </h:deep></rdf:Description></rdf:RDF>",
    ),
    (
        "no-prefix",
        "<RDF xmlns='http://www.w3.org/1999/02/22-rdf-syntax-ns#' xmlns:r='http://www.w3.org/1999/02/22-rdf-syntax-ns#'>\
         <Description r:about='' xmlns:p='urn:p#'><p:a>1</p:a></Description></RDF>",
    ),
    // Our usual prefixes bound to other namespaces.
    (
        "taken",
        "<a:RDF xmlns:a='http://www.w3.org/1999/02/22-rdf-syntax-ns#' xmlns:rdf='urn:not-rdf#' \
         xmlns:xmp='urn:not-xmp#' xmlns:rawassay='urn:not-ours#'><a:Description a:about='' rawassay:outcome='theirs' \
         xmp:Rating='9'><rdf:thing>x</rdf:thing></a:Description></a:RDF>",
    ),
];

const CHECK: &str = r#"
import sys, json
from lxml import etree
import rdflib
old, new, ns = open(sys.argv[1], 'rb').read(), open(sys.argv[2], 'rb').read(), sys.argv[3]
RDF = 'http://www.w3.org/1999/02/22-rdf-syntax-ns#'

def tree(data):
    return etree.fromstring(data, etree.XMLParser(resolve_entities=False, strip_cdata=False)).getroottree()

def graph(data):
    root = tree(data).getroot()
    rdf = root if root.tag == '{%s}RDF' % RDF else root.find('.//{%s}RDF' % RDF)
    g = rdflib.Graph()
    g.parse(data=etree.tostring(rdf), format='xml', publicID='file:///frame')
    return g

# Everything but our descriptions, in canonical form with comments, is as it was.
def canonical(data, drop):
    t = tree(data)
    if drop:
        for d in list(t.getroot().iter('{%s}Description' % RDF)):
            if d.find('{%s}outcome' % ns) is not None:
                before = d.getprevious()
                tail = d.tail or ''
                if before is not None:
                    before.tail = (before.tail or '').rstrip() + tail
                else:
                    d.getparent().text = (d.getparent().text or '').rstrip() + tail
                d.getparent().remove(d)
    # White space between elements of rdf:RDF is where ours was put in.
    for e in t.getroot().iter('{%s}RDF' % RDF):
        for c in e: c.tail = (c.tail or '').strip()
        e.text = (e.text or '').strip()
    return etree.tostring(t, method='c14n', with_comments=True)
assert canonical(old, False) == canonical(new, True), 'foreign XML changed'

a, b = graph(old), graph(new)
ours = rdflib.Namespace(ns)
subject = next(b.subjects(ours.outcome, None))
found = {str(p)[len(ns):]: str(o) for p, o in b.predicate_objects(subject) if str(p).startswith(ns)}
for name in ('findings', 'findings_noted'):
    bag = next(b.objects(subject, ours[name]))
    found[name] = sorted(str(o) for p, o in b.predicate_objects(bag) if str(p).startswith(RDF + '_'))
print(json.dumps(found))
# Without ours, the statements are those of the old file.
from rdflib.compare import to_isomorphic
for s, p, o in list(b):
    if str(p).startswith(ns):
        b.remove((s, p, o))
        if isinstance(o, rdflib.BNode): b.remove((o, None, None))
assert to_isomorphic(a) == to_isomorphic(b), 'statements were lost or changed'
"#;

#[test]
fn foreign_sidecars_keep_everything_by_lxml_and_rdflib() {
    let Some(interpreter) = python::interpreter() else { return };
    let folder = tempfile::tempdir().unwrap();
    let tags = Tags {
        brief: "gallery <60 & 90>".into(),
        outcome: "borderline".into(),
        findings: vec!["soft".into(), "too-few-pixels".into()],
        findings_noted: vec!["slow-shutter".into()],
        measures: vec![("print_ppi", 152.4), ("print_rise_mm", 0.25)],
        rating: None,
        label: None,
    };
    for (name, text) in FOREIGN {
        let old = folder.path().join(format!("{name}.xmp"));
        let new = folder.path().join(format!("{name}-new.xmp"));
        std::fs::write(&old, text).unwrap();
        // Twice: the second run replaces what the first one wrote.
        let once = write(Some(text.as_bytes()), &Tags { outcome: "fails".into(), ..tags.clone() }).unwrap();
        let twice = write(Some(&once.bytes), &tags).unwrap();
        std::fs::write(&new, &twice.bytes).unwrap();
        let (old, new) = (old.display().to_string(), new.display().to_string());
        let output = python::run(&interpreter, CHECK, &[&old, &new, NAMESPACE]);
        let found: serde_json::Value = serde_json::from_str(&output).unwrap();
        assert_eq!(found["brief"], "gallery <60 & 90>", "{name}");
        assert_eq!(found["outcome"], "borderline", "{name}");
        assert_eq!(found["print_ppi"], "152.4", "{name}");
        assert_eq!(found["findings"], serde_json::json!(["soft", "too-few-pixels"]), "{name}");
        assert_eq!(found["findings_noted"], serde_json::json!(["slow-shutter"]), "{name}");
    }
}

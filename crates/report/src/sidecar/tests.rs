#![allow(clippy::unwrap_used)]

use super::*;

fn tags() -> Tags {
    Tags {
        brief: "exhibition".into(),
        outcome: "prints".into(),
        findings: vec!["noisy".into()],
        findings_noted: vec!["slow-shutter".into()],
        measures: vec![("print_rise_mm", 0.123_456_7), ("motion_px", f64::NAN), ("edges", 1234.0)],
        rating: None,
        label: None,
    }
}

fn text(sidecar: &Sidecar) -> &str {
    std::str::from_utf8(&sidecar.bytes).unwrap()
}

/// A sidecar as other programs write them, with everything that a careless writer loses.
const FOREIGN: &str = "\u{feff}<?xpacket begin='\u{feff}' id='W5M0MpCehiHzreSzNTczkc9d'?>\r
<!-- kept by hand -->
<?other-program  keep=\"this\"?>
<meta:xmpmeta xmlns:meta='adobe:ns:meta/'   meta:xmptk='Some Writer &amp; Co'>
 <r:RDF xmlns:r=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\">
  <r:Description r:about = 'uuid:1&amp;2' xmlns:q='http://ns.adobe.com/xap/1.0/'
     xmlns:odd=\"http://example.org/odd/\" q:Rating='5' odd:flag=\"a > b\"
     odd:text='say \"hi\"'>
   <!-- inside -->
   <odd:list><r:Seq><r:li>one</r:li><r:li xml:lang='de'>zwei &#228;</r:li></r:Seq></odd:list>
   <q:Label><![CDATA[Mine & yours]]></q:Label>
  </r:Description>
  <r:Description r:about='uuid:1&amp;2' xmlns:dc='http://purl.org/dc/elements/1.1/'>
   <dc:title><r:Alt><r:li xml:lang='x-default'>Harbour &lt;3&gt;</r:li></r:Alt></dc:title>
  </r:Description>
 </r:RDF>
</meta:xmpmeta>
<?xpacket end='w'?>
";

#[test]
fn a_new_sidecar_can_be_edited_and_stays_the_same() {
    let first = write(None, &tags()).unwrap();
    assert!(text(&first).contains("<rawassay:print_rise_mm>0.12346</rawassay:print_rise_mm>"));
    assert!(text(&first).contains("<rdf:li>noisy</rdf:li>"));
    assert!(!text(&first).contains("motion_px"));
    assert!(!text(&first).contains("xmp:Rating>"));
    let again = write(Some(&first.bytes), &tags()).unwrap();
    assert_eq!(text(&again), text(&first));
}

#[test]
fn everything_foreign_stays_byte_for_byte() {
    let with =
        write(Some(FOREIGN.as_bytes()), &Tags { rating: Some(4), label: Some("prints".into()), ..tags() }).unwrap();
    assert!(with.rating_kept && with.label_kept);
    // Only an insertion: what stood before and behind it is the whole of the old file.
    let at = text(&with).find("\n  <rdf:Description xmlns:rdf").unwrap();
    let end = text(&with).rfind("</rdf:Description>").unwrap() + "</rdf:Description>".len();
    assert_eq!(format!("{}{}", &text(&with)[..at], &text(&with)[end..]), FOREIGN);
    assert!(text(&with).contains("rdf:about='uuid:1&amp;2'\n"));
    let again = write(Some(&with.bytes), &tags()).unwrap();
    let once = write(Some(FOREIGN.as_bytes()), &tags()).unwrap();
    assert_eq!(text(&again), text(&once));
}

#[test]
fn our_own_rating_is_replaced_and_a_changed_one_is_kept() {
    let rated = |rating| Tags { rating: Some(rating), ..tags() };
    let first = write(None, &rated(4)).unwrap();
    let second = write(Some(&first.bytes), &rated(2)).unwrap();
    assert!(!second.rating_kept);
    assert_eq!(text(&second).matches("<xmp:Rating>").count(), 1);
    assert!(text(&second).contains("<xmp:Rating>2</xmp:Rating>"));
    assert_eq!(text(&second).matches("rdf:Description ").count(), 1);
    // Not asked for: it stays, and is still known as ours.
    let third = write(Some(&second.bytes), &tags()).unwrap();
    assert!(text(&third).contains("<xmp:Rating>2</xmp:Rating>"));
    let fourth = write(Some(&third.bytes), &rated(4)).unwrap();
    assert!(!fourth.rating_kept && text(&fourth).contains("<xmp:Rating>4</xmp:Rating>"));
    assert_eq!(text(&fourth).matches("<xmp:Rating>").count(), 1);
    assert_eq!(text(&fourth).matches("<rdf:Description ").count(), 1);
    // The photographer thinks otherwise.
    let changed = text(&fourth).replace("<xmp:Rating>4<", "<xmp:Rating>1<");
    let fifth = write(Some(changed.as_bytes()), &rated(4)).unwrap();
    assert!(fifth.rating_kept && text(&fifth).contains("<xmp:Rating>1</xmp:Rating>"));
}

#[test]
fn our_properties_as_attributes_are_replaced() {
    let old = format!(
        "<rdf:RDF xmlns:rdf='{RDF}'><rdf:Description rdf:about='' xmlns:z='{NAMESPACE}' z:outcome='fails' \
         xmlns:e='urn:e' e:keep='1' z:brief='album'/></rdf:RDF>"
    );
    let new = write(Some(old.as_bytes()), &tags()).unwrap();
    assert!(!text(&new).contains("z:outcome") && !text(&new).contains("z:brief"));
    assert!(text(&new).contains("e:keep='1'"));
    let empty = format!("<rdf:RDF xmlns:rdf='{RDF}'/>");
    let new = write(Some(empty.as_bytes()), &tags()).unwrap();
    assert!(text(&new).ends_with("</rdf:Description>\n </rdf:RDF>"), "{}", text(&new));
    write(Some(&new.bytes), &tags()).unwrap();
}

#[test]
fn what_is_not_xmp_is_left_alone() {
    for (bad, start) in [
        (&b"\xff\xfe<\0"[..], "not UTF-8"),
        (b"", "not well-formed"),
        (b"hello", "not well-formed"),
        (b"<a><b></a>", "not well-formed"),
        (b"<a>", "not well-formed"),
        (b"<a/><b/>", "not well-formed"),
        (b"<p:a/>", "not well-formed"),
        (b"<a x='1' x='2'/>", "not well-formed"),
        (b"<a/>", "well-formed, but"),
    ] {
        let error = write(Some(bad), &tags()).unwrap_err().to_string();
        assert!(error.starts_with(start), "{error}");
    }
}

#[test]
fn numbers_have_five_digits_and_no_exponent() {
    let cases = [
        (0.0, "0"),
        (1234.0, "1234"),
        (0.123_456_7, "0.12346"),
        (-2.5, "-2.5"),
        (1e7, "10000000"),
        (3e-9, "0.000000003"),
    ];
    for (value, shown) in cases {
        assert_eq!(number(value), shown);
    }
}

/// What the fuzz targets found: kept or refused in words, never a panic.
#[test]
fn broken_fixtures_are_refused_in_one_line() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fixtures/broken");
    let mut seen = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|e| e == "xmp") {
            let error = write(Some(&std::fs::read(&path).unwrap()), &tags()).unwrap_err().to_string();
            assert_eq!(error.lines().count(), 1, "{}", path.display());
            seen += 1;
        }
    }
    assert!(seen > 0);
}

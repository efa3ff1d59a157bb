//! What is said of a frame first: outcome, largest size, findings, and the sizes on a wall to scale.

use rawassay_analysis::{Finding, Outcome, Severity};

use crate::page::html::{esc, put};
use crate::page::overview::{purpose_words, sign};
use crate::page::shoot::{Purpose, Sheet, Shoot, finding_title, numbers};
use crate::page::units;
use crate::plot::wall::Wall;

/// Outcome, largest size and findings.
pub(super) fn verdict(out: &mut String, shoot: &Shoot, sheet: &Sheet) {
    let purpose = &shoot.purpose;
    let size = purpose.size.replace(" x ", " \u{d7} ");
    let outcome = sheet.outcome();
    let headline = match outcome {
        Outcome::Prints if purpose.is_screen() => format!("Good enough for {size}"),
        Outcome::Prints => format!("Prints at {size}"),
        Outcome::Borderline => format!("At its limit for {size}"),
        Outcome::Fails => format!("Not good enough for {size}"),
        Outcome::Unmeasured => "Could not be judged".into(),
    };
    put!(
        out,
        "<section class=\"verdict {outcome}\" aria-labelledby=\"verdict-h\">\n<h2 id=\"verdict-h\">{}{}</h2>\n<p \
         class=\"for\">Outcome: <b>{outcome}</b> for the brief <q>{}</q>: {}.</p>\n",
        sign(outcome),
        esc(&headline),
        esc(&purpose.name),
        esc(&purpose_words(purpose))
    );
    largest(out, purpose, sheet);
    let proof = sheet.card.print.largest_with_proof.as_ref();
    if let Some(proof) =
        proof.filter(|p| Some(p.width_in * 0.97) > sheet.card.print.largest.as_ref().map(|l| l.width_in))
    {
        put!(
            out,
            "<p>{}, up to {} ({}).</p>\n",
            if purpose.is_screen() { "With a look at the full size first" } else { "With a proof print" },
            units::print_most(proof.width_in, proof.height_in, purpose.unit),
            units::print_most(proof.width_in, proof.height_in, purpose.unit.other())
        );
    }
    let findings = &sheet.card.verdict.findings;
    if findings.is_empty() {
        out.push_str("<p>Nothing found that spoils it.</p>\n");
    } else {
        out.push_str("<ul class=\"findings\">\n");
        for finding in findings {
            one_finding(out, finding);
        }
        out.push_str("</ul>\n");
    }
    if matches!(outcome, Outcome::Prints | Outcome::Borderline) && !purpose.is_screen() {
        out.push_str(
            "<p class=\"proof\">Before a large print: make a proof print of a strip at final size and look at it from the viewing \
             distance. Composition, colour, expression and the focus on <em>your</em> subject were not measured.</p>\n",
        );
    }
    out.push_str("</section>\n");
}

/// The largest honest print, or that there is none and what would have to be accepted for one.
fn largest(out: &mut String, purpose: &Purpose, sheet: &Sheet) {
    let (unit, other) = (purpose.unit, purpose.unit.other());
    let many = |what: &str| what.ends_with('s') && what != "sharpness";
    let print = &sheet.card.print;
    let name = if purpose.is_screen() { "Largest honest size" } else { "Largest honest print" };
    if let Some(largest) = &print.largest {
        put!(
            out,
            "<p class=\"largest\"><span>{}</span> <b>{}</b> <span>{} at {} ppi; beyond that {} \
             {} it.</span></p>\n",
            name,
            units::print_most(largest.width_in, largest.height_in, unit),
            units::print_most(largest.width_in, largest.height_in, other),
            units::number(largest.ppi),
            esc(&largest.limited_by),
            if many(&largest.limited_by) { "limit" } else { "limits" }
        );
    }
    let Some(accepted) = &print.if_accepted else { return };
    let size = units::print_most(accepted.width_in, accepted.height_in, unit);
    let what = esc(&accepted.what);
    if print.largest.is_none() {
        put!(
            out,
            "<p class=\"largest\"><span>{name}</span> <b>none</b> <span>{}. By size alone {size}, for whoever accepts the \
             {what}.</span></p>\n",
            esc(&accepted.why_none(&size))
        );
    } else {
        put!(out, "<p>By size alone {size}, for whoever accepts the {what}.</p>\n");
    }
}

fn one_finding(out: &mut String, finding: &Finding) {
    let severity = match finding.severity {
        Severity::Fails => "fails",
        Severity::Borderline => "borderline",
        Severity::Note => "note",
    };
    put!(
        out,
        "<li class=\"{severity}\"><h3><a href=\"../words.html#{code}\">{}</a> <span class=\"how\">{severity}</span></h3><p>{}",
        finding_title(finding.code),
        esc(&finding.text),
        code = finding.code
    );
    if let Some(numbers) = numbers(finding) {
        put!(out, " <span class=\"numbers\">Measured {}.</span>", esc(&numbers));
    }
    out.push_str("</p>");
    if !finding.remedy.is_empty() {
        put!(out, "<p class=\"remedy\"><b>Next time:</b> {}</p>", esc(&finding.remedy));
    }
    out.push_str("</li>\n");
}

/// The sizes on a wall, to scale.
pub(super) fn wall(out: &mut String, shoot: &Shoot, sheet: &Sheet) {
    let small = sheet.drawn.as_ref().map(|_| format!("../pictures/{}-small.jpg", sheet.id));
    let wall = Wall {
        sizes: sheet.sizes.clone(),
        largest_cm: sheet.largest_cm(),
        picture: small.as_deref(),
        distance: &shoot.purpose.distance,
        unit: shoot.purpose.unit,
    };
    if let Some(svg) = wall.svg() {
        put!(
            out,
            "<figure class=\"on-wall\">{svg}<figcaption>To scale, seen from {}. {}; \
             <span class=\"line proof\">half-tone outlines</span> need {}, <span class=\"line empty\">dashed \
             outlines</span> ask more than the frame has.</figcaption></figure>\n",
            esc(&shoot.purpose.distance),
            match sheet.largest_cm() {
                Some(_) => "The picture hangs at its largest honest size",
                None => "No picture hangs, as no size is known to be good enough",
            },
            if shoot.purpose.is_screen() { "a look at the full size" } else { "a proof print" }
        );
    }
}

//! What the argument parser says of wrong usage, in one line as every other error.

/// The line for a text of the parser's; `help` is the command whose help tells more, as in "rawassay audit".
pub fn line(text: &str, help: &str) -> String {
    let mut paragraphs = text.trim_start_matches("error: ").split("\n\n");
    let what: Vec<&str> = paragraphs.next().unwrap_or_default().lines().map(str::trim).collect();
    let (first, more) = what.split_first().map_or(("wrong usage", &[][..]), |(first, more)| (*first, more));
    let mut line = first.to_string();
    match more {
        [] => {}
        [values] if values.starts_with('[') => {
            let values = values.trim_matches(['[', ']']).trim_start_matches("possible values: ");
            line.push_str(&format!("; it takes {values}"));
        }
        // What follows a colon is a list of options.
        list => line.push_str(&format!(" {}", list.join(", "))),
    }
    for paragraph in paragraphs {
        for tip in paragraph.lines().filter_map(|l| l.trim().strip_prefix("tip: ")) {
            // "to pass '--x' as a value, use '-- --x'": nobody who mistypes an option means a file of that name.
            if let Some((_, near)) = tip.split_once(": ").filter(|_| tip.contains("similar")) {
                line.push_str(&format!("; did you mean {near}?"));
            }
        }
    }
    let parted = if line.ends_with('?') { " " } else { "; " };
    format!("{line}{parted}`{help} --help` tells more")
}

#[cfg(test)]
mod tests {
    use super::line;

    #[test]
    fn every_form_of_the_parsers_texts_is_one_line() {
        let help = "rawassay audit";
        let more = "For more information, try '--help'.\n";
        for (text, told) in [
            (
                format!("error: invalid value 'xml' for '--format <F>'\n  [possible values: csv, json]\n\n{more}"),
                "invalid value 'xml' for '--format <F>'; it takes csv, json; `rawassay audit --help` tells more",
            ),
            (
                format!(
                    "error: unexpected argument '--breif' found\n\n  tip: a similar argument exists: '--brief'\n\nUsage: \
                     rawassay audit --brief <BRIEF> <PATH>...\n\n{more}"
                ),
                "unexpected argument '--breif' found; did you mean '--brief'? `rawassay audit --help` tells more",
            ),
            (
                format!(
                    "error: unexpected argument '-x' found\n\n  tip: to pass '-x' as a value, use '-- -x'\n\nUsage: rawassay \
                     audit <PATH>...\n\n{more}"
                ),
                "unexpected argument '-x' found; `rawassay audit --help` tells more",
            ),
            (
                format!(
                    "error: the following required arguments were not provided:\n  --by <BY>\n  <RECORD>...\n\nUsage: \
                     rawassay audit --by <BY> <RECORD>...\n\n{more}"
                ),
                "the following required arguments were not provided: --by <BY>, <RECORD>...; `rawassay audit --help` tells more",
            ),
        ] {
            assert_eq!(line(&text, help), told);
        }
    }
}

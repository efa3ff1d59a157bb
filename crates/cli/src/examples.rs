//! What each command's help shows as examples.

use clap::Command;

const ALL: &str = "\
First steps:
  rawassay demo                                    a simulated shoot, audited, with its pages
  rawassay audit ~/shoot --brief exhibition        which frames are good enough for 30 x 40 in
  rawassay page rawassay.ndjson --out pages        look instead of reading
  rawassay explain shaken                          what a finding means, and what to do next time

Defaults of your own: ~/.config/rawassay/config.toml (or the file that RAWASSAY_CONFIG names) with
  brief = \"exhibition\"
The environment (RAWASSAY_BRIEF, RAWASSAY_JOBS, RAWASSAY_MEMORY, RAWASSAY_TIMEOUT) goes before
the file, the command line before both. NO_COLOR turns bold and faint off.";

const COMMANDS: [(&str, &str); 14] = [
    (
        "audit",
        "\
Examples:
  rawassay audit ~/shoot                           a table, and the record rawassay.ndjson
  rawassay audit ~/shoot --out shoot.csv           a spreadsheet; record: shoot.record.ndjson
  rawassay audit ~/shoot --brief '100 x 75 cm at 1 m'   your own wall; also 'A2 from 60 cm', 'A3'
  rawassay audit ~/shoot --brief wall.toml --crop 4:3   the same from a file: [output], below it
                                                        size = \"100 x 75 cm\", distance = \"1 m\"
  find ~/archive -name '*.CR2' | rawassay audit - --quiet --format ndjson > all.ndjson",
    ),
    (
        "judge",
        "\
Examples:
  rawassay judge rawassay.ndjson --brief exhibition          the same frames for a larger print
  rawassay judge rawassay.ndjson --brief screen --format csv",
    ),
    (
        "series",
        "\
Examples:
  rawassay series rawassay.ndjson --by iso         the highest ISO for this print
  rawassay series rawassay.ndjson --by aperture    the sharpest f-stop of each lens
  rawassay series rawassay.ndjson --by shutter     your own slowest hand-held shutter
  rawassay series small.ndjson large.ndjson --by camera --brief exhibition",
    ),
    (
        "sets",
        "\
Examples:
  rawassay sets rawassay.ndjson                    the best of each burst, what each bracket covers
  rawassay sets rawassay.ndjson --ranking",
    ),
    (
        "enlarge",
        "\
Examples:
  rawassay enlarge IMG_0042.CR2                    what each size asks for, what the frame has
  rawassay enlarge rawassay.ndjson --frame 0042 --size '100 x 75 cm' --distance diagonal
  rawassay enlarge IMG_0042.CR2 --crop 3000x3000+900+0",
    ),
    (
        "sensor",
        "\
Examples:
  rawassay sensor --flat a1.CR2 a2.CR2 b1.CR2 b2.CR2 c1.CR2 c2.CR2 --dark d1.CR2 d2.CR2
  rawassay sensor --flat flats/*.CR2 --dark darks/*.CR2 --out sensor.csv
Two different frames of each exposure, all at one ISO: three exposures below 70 % of saturation
at the least, and one that is blown, for the full well. Flats: an evenly lit wall, out of focus;
darks: lens cap on, two or more.",
    ),
    (
        "edge",
        "\
Examples:
  rawassay edge target.CR2                         finds the slanted edges by itself
  rawassay edge target.CR2 --region 400x600+2800+1700 --format csv
  rawassay edge f4.CR2 f8.CR2 f16.CR2 --out edges.csv --plot edges.svg",
    ),
    (
        "cull",
        "\
Examples:
  rawassay cull rawassay.ndjson --list --outcome prints
  rawassay cull rawassay.ndjson --copy-to keep --outcome prints borderline --dry-run
  rawassay cull rawassay.ndjson --sidecars         our measures beside each raw, for other software",
    ),
    (
        "page",
        "\
Examples:
  rawassay page rawassay.ndjson --out pages        then open pages/index.html",
    ),
    (
        "brief",
        "\
Examples:
  rawassay brief list
  rawassay brief show exhibition > wall.toml       a start for a brief of your own
  rawassay brief check wall.toml",
    ),
    (
        "explain",
        "\
Examples:
  rawassay explain diffracted
  rawassay explain edge_rise_px",
    ),
    (
        "demo",
        "\
Examples:
  rawassay demo                                    in the folder demo-shoot
  rawassay demo vellmouth --brief exhibition       in a folder of another name",
    ),
    (
        "completions",
        "\
Examples:
  rawassay completions bash > ~/.local/share/bash-completion/completions/rawassay
  rawassay completions zsh > ~/.zfunc/_rawassay",
    ),
    (
        "manual",
        "\
Examples:
  rawassay manual --out ~/.local/share/man/man1    then: man rawassay-audit",
    ),
];

/// Puts the examples below the help of each command.
pub fn add(command: Command) -> Command {
    COMMANDS
        .into_iter()
        .fold(command.after_help(ALL), |command, (name, text)| command.mut_subcommand(name, |c| c.after_help(text)))
}

#[cfg(test)]
mod tests {
    /// Words of a command line; single quotes hold a word together.
    fn words(line: &str) -> Vec<String> {
        line.split('\'')
            .enumerate()
            .flat_map(|(k, part)| match k % 2 {
                1 => vec![part.to_string()],
                _ => part.split_whitespace().map(str::to_string).collect(),
            })
            .collect()
    }

    #[test]
    fn every_example_is_a_command_that_the_program_takes() {
        let mut tried = 0;
        for text in super::COMMANDS.iter().map(|(_, text)| *text).chain([super::ALL]) {
            for line in text.lines().filter(|l| l.starts_with("  ") && l.contains("rawassay ")) {
                let line = &line[line.find("rawassay ").unwrap_or(0)..];
                let line = line.split("   ").next().unwrap_or(line);
                let line = line.split(" > ").next().unwrap_or(line);
                let parsed = crate::program().try_get_matches_from(words(line));
                assert!(parsed.is_ok(), "{line}: {}", parsed.err().map(|e| e.to_string()).unwrap_or_default());
                tried += 1;
            }
        }
        assert!(tried > 25, "{tried}");
    }

    /// Help is set in 100 columns at the most: a longer line would break in the middle of its sentence.
    #[test]
    fn no_line_breaks_in_the_middle() {
        for line in super::COMMANDS.iter().flat_map(|(_, text)| text.lines()).chain(super::ALL.lines()) {
            assert!(line.chars().count() <= 100, "{line}");
        }
    }

    #[test]
    fn every_command_has_examples() {
        for command in crate::program().get_subcommands().filter(|c| !c.is_hide_set() && c.get_name() != "help") {
            assert!(super::COMMANDS.iter().any(|(name, _)| *name == command.get_name()), "{}", command.get_name());
        }
    }
}

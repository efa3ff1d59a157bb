//! Defaults of the user's own: a file and the environment. The command line goes before the environment, that before
//! the file, and that before what is built in.

use std::path::{Path, PathBuf};

use clap::Command;
use serde::Deserialize;

use crate::messages::Failure;
use crate::output::plain_cause;

/// Names the file of defaults.
const CONFIG: &str = "RAWASSAY_CONFIG";

/// Options that may have a default of the user's: the option, its name in the environment.
const OPTIONS: [(&str, &str); 4] = [
    ("brief", "RAWASSAY_BRIEF"),
    ("jobs", "RAWASSAY_JOBS"),
    ("memory", "RAWASSAY_MEMORY"),
    ("timeout", "RAWASSAY_TIMEOUT"),
];

/// What the file may hold.
#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    brief: Option<String>,
    jobs: Option<u16>,
    memory: Option<u64>,
    timeout: Option<u64>,
}

impl File {
    fn value(&self, option: &str) -> Option<String> {
        match option {
            "brief" => self.brief.clone(),
            "jobs" => self.jobs.map(|n| n.to_string()),
            "memory" => self.memory.map(|mb| mb.to_string()),
            _ => self.timeout.map(|s| s.to_string()),
        }
    }
}

/// Gives the options of all commands the user's defaults.
///
/// # Errors
/// Where the file cannot be read or says something that no option takes.
pub fn apply(command: Command) -> Result<Command, Failure> {
    let file = match path() {
        Some((path, asked)) => read(&path, asked)?,
        None => File::default(),
    };
    let names: Vec<String> = command.get_subcommands().map(|c| c.get_name().to_string()).collect();
    Ok(names.into_iter().fold(command, |command, name| command.mut_subcommand(name, |c| with_defaults(c, &file))))
}

fn with_defaults(mut command: Command, file: &File) -> Command {
    for (option, variable) in OPTIONS {
        if command.get_arguments().any(|a| a.get_id() == option) {
            command = command.mut_arg(option, |arg| {
                let arg = match file.value(option) {
                    Some(value) => arg.default_value(value),
                    None => arg,
                };
                arg.env(variable).hide_env_values(true)
            });
        }
    }
    command
}

/// The variable of the environment that holds the value which the parser refused, where the command line has no such
/// option.
pub fn variable_at_fault(error: &clap::Error) -> Option<&'static str> {
    use clap::error::{ContextKind, ContextValue};
    let Some(ContextValue::String(option)) = error.get(ContextKind::InvalidArg) else { return None };
    let (_, variable) = OPTIONS.into_iter().find(|(name, _)| option.split(' ').next() == Some(&format!("--{name}")))?;
    let stated = std::env::args_os().any(|a| a.to_string_lossy().split('=').next() == option.split(' ').next());
    std::env::var_os(variable).filter(|_| !stated).map(|_| variable)
}

/// The file of defaults, and whether the user named it.
fn path() -> Option<(PathBuf, bool)> {
    let folder = |name: &str| std::env::var_os(name).filter(|v| !v.is_empty()).map(PathBuf::from);
    if let Some(named) = folder(CONFIG) {
        return Some((named, true));
    }
    let base = folder("XDG_CONFIG_HOME")
        .or_else(|| folder("APPDATA"))
        .or_else(|| folder("HOME").map(|home| home.join(".config")))?;
    Some((base.join("rawassay").join("config.toml"), false))
}

fn read(path: &Path, asked: bool) -> Result<File, Failure> {
    let text = match std::fs::read_to_string(path) {
        Ok(text) => text,
        Err(e) if !asked && e.kind() == std::io::ErrorKind::NotFound => return Ok(File::default()),
        Err(e) => {
            let what = if asked { format!("; {CONFIG} names it") } else { String::new() };
            return Err(Failure::usage(format!(
                "{}: cannot read the defaults: {}{what}",
                path.display(),
                plain_cause(&e)
            )));
        }
    };
    toml::from_str(&text).map_err(|e| {
        let line = e.span().map_or(1, |span| 1 + text[..span.start.min(text.len())].matches('\n').count());
        // The parser's words for types are those of programmers.
        let message = e.message().lines().next().unwrap_or_default();
        let message = match message.split_once(", expected") {
            Some((what, _)) => what.replace("invalid type: ", "not of its kind: "),
            None => message.to_string(),
        };
        Failure::usage(format!(
            "{}: line {line}: {message}; it may hold brief (text), jobs, memory (MB) and timeout (s)",
            path.display()
        ))
    })
}

//! How much a worker may take, and how many there may be.

use std::num::NonZero;
use std::time::Duration;

/// Memory that a worker may take for any file, bytes: the program itself, its decoders and a small frame.
const MEMORY_BASE: u64 = 1 << 30;
/// And for each byte of the file: a compressed frame unpacks to several times its size, in more than one copy.
const MEMORY_PER_BYTE: u64 = 16;
/// What a large frame really takes, bytes (100 megapixels at 6 bytes): so much must be free for each worker.
const MEMORY_WANTED: u64 = 660 << 20;
/// Time for any file.
const TIME_BASE: Duration = Duration::from_secs(60);
/// Time for each megabyte of it: a slow card or network reads a megabyte a second.
const TIME_PER_MB: Duration = Duration::from_secs(1);

/// Limits of a run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Limits {
    /// Worker processes.
    pub workers: usize,
    /// Threads that a decoder may use in each.
    pub threads: usize,
    /// Time for one frame, where the user set it.
    pub timeout: Option<Duration>,
    /// Memory of one worker, bytes, where the user set it.
    pub memory: Option<u64>,
    /// What the machine can give one worker, bytes.
    pub share: Option<u64>,
}

impl Limits {
    /// Limits for that many frames; `jobs` as the user asked.
    pub fn new(frames: usize, jobs: Option<usize>, timeout: Option<Duration>, memory: Option<u64>) -> Self {
        let cores = std::thread::available_parallelism().map_or(1, NonZero::get);
        let free = free_memory();
        let by_memory = free.map_or(usize::MAX, |free| (free / memory.unwrap_or(MEMORY_WANTED)).max(1) as usize);
        let workers = jobs.unwrap_or_else(|| cores.min(by_memory)).clamp(1, frames.max(1));
        let share = free.map(|free| (free / workers as u64).max(MEMORY_BASE));
        Self { workers, threads: (cores / workers).max(1), timeout, memory, share }
    }

    /// Time for a file of that size.
    pub fn time(&self, bytes: u64) -> Duration {
        let megabytes = u32::try_from(bytes >> 20).unwrap_or(u32::MAX);
        self.timeout.unwrap_or_else(|| TIME_BASE.saturating_add(TIME_PER_MB.saturating_mul(megabytes)))
    }

    /// Memory for a file of that size, bytes.
    pub fn memory(&self, bytes: u64) -> u64 {
        let wanted = MEMORY_BASE.saturating_add(bytes.saturating_mul(MEMORY_PER_BYTE));
        self.memory.unwrap_or_else(|| wanted.min(self.share.unwrap_or(u64::MAX)))
    }
}

/// Memory that the system could give now, bytes; `None` where it does not tell.
fn free_memory() -> Option<u64> {
    let text = std::fs::read_to_string("/proc/meminfo").ok()?;
    let line = text.lines().find_map(|line| line.strip_prefix("MemAvailable:"))?;
    Some(line.trim().trim_end_matches("kB").trim().parse::<u64>().ok()? << 10)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn larger_files_get_more_of_both() {
        let limits = Limits { workers: 2, threads: 1, timeout: None, memory: None, share: Some(4 << 30) };
        assert_eq!(limits.time(25 << 20), Duration::from_secs(85));
        assert_eq!(limits.memory(32 << 20), (1 << 30) + (512 << 20));
        assert_eq!(limits.memory(1 << 40), 4 << 30, "never more than the machine has");
        let set = Limits { timeout: Some(Duration::from_secs(3)), memory: Some(7), ..limits };
        assert_eq!((set.time(1 << 40), set.memory(1 << 40)), (Duration::from_secs(3), 7));
    }

    #[test]
    fn never_more_workers_than_frames() {
        assert_eq!(Limits::new(1, None, None, None).workers, 1);
        assert_eq!(Limits::new(5, Some(3), None, None).workers, 3);
        assert_eq!(Limits::new(0, Some(3), None, None).workers, 1);
    }
}

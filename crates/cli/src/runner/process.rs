//! One worker process as its supervisor sees it.

use std::io::{self, BufRead, BufReader, Read, Write};
use std::process::{Child, ChildStdin, Command, ExitStatus, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::{Duration, Instant};

use serde::de::DeserializeOwned;

use super::worker::Task;

/// For glibc's allocator: large pages, so that the kernel clears and maps 2 MB at a time in place of 4 KB; and freed buffers
/// of any size are kept for the next ones, which need no clearing then.
const TUNABLES: &str = "glibc.malloc.hugetlb=1:glibc.malloc.mmap_threshold=1073741824:\
                        glibc.malloc.trim_threshold=2147483648:glibc.malloc.top_pad=16777216";

/// Times the user asked to stop (Ctrl-C, or a polite end by the system): once to end after the frames in hand, twice
/// to drop these too.
static STOPS: AtomicUsize = AtomicUsize::new(0);
/// How often a waiting supervisor looks whether it should stop.
const LOOK: Duration = Duration::from_millis(100);
/// Bytes of a worker's last words that are kept.
const LAST_WORDS: usize = 4096;

/// Listens for Ctrl-C from now on.
pub fn listen() {
    // Refused where a handler is set already: a second run in the same process keeps the first one's.
    ctrlc::set_handler(|| {
        STOPS.fetch_add(1, Ordering::Relaxed);
    })
    .ok();
}

/// True once the user asked to stop.
pub fn interrupted() -> bool {
    STOPS.load(Ordering::Relaxed) > 0
}

/// What came of a frame.
#[derive(Debug)]
pub enum Reply<T> {
    /// The worker's answer.
    Answer(Box<T>),
    /// It took too long; the worker is gone.
    TimedOut,
    /// The worker died; whether something outside ended it, and how it ended.
    Died {
        /// Ended by a signal that no fault of its own sends.
        from_outside: bool,
        /// It asked for more memory than it may take.
        of_memory: bool,
        /// How it ended, in words.
        how: String,
    },
    /// The user does not want to wait for it.
    Stopped,
}

/// A running worker.
pub struct Process {
    child: Child,
    stdin: Option<ChildStdin>,
    answers: Receiver<String>,
    words: Receiver<Vec<u8>>,
}

impl Process {
    /// Starts a worker whose decoders may use that many threads.
    pub fn start(threads: usize) -> io::Result<Self> {
        let mut command = Command::new(own_program()?);
        command
            .arg("worker")
            .env("RAYON_NUM_THREADS", threads.to_string())
            // Backtraces are for developers; making one takes memory that a worker at its limit does not have.
            .env("RUST_BACKTRACE", "0")
            // glibc keeps an arena per thread; a worker does one thing at a time.
            .env("MALLOC_ARENA_MAX", "1")
            .env("GLIBC_TUNABLES", TUNABLES)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        #[cfg(unix)]
        {
            // Ctrl-C on the terminal is for the supervisor, which ends its workers when they are done.
            use std::os::unix::process::CommandExt;
            command.arg0("rawassay").process_group(0);
        }
        let mut child = command.spawn()?;
        let stdin = child.stdin.take();
        let (stdout, stderr) = (child.stdout.take(), child.stderr.take());
        let (answer, answers) = channel();
        let (word, words) = channel();
        std::thread::spawn(move || {
            for line in stdout.map(BufReader::new).into_iter().flat_map(BufRead::lines) {
                let Ok(line) = line else { break };
                if answer.send(line).is_err() {
                    break;
                }
            }
        });
        std::thread::spawn(move || {
            let mut tail = Vec::new();
            let mut block = [0u8; 1024];
            let Some(mut stderr) = stderr else { return };
            while let Ok(n @ 1..) = stderr.read(&mut block) {
                tail.extend_from_slice(&block[..n]);
                let extra = tail.len().saturating_sub(LAST_WORDS);
                tail.drain(..extra);
            }
            word.send(tail).ok();
        });
        Ok(Self { child, stdin, answers, words })
    }

    /// Hands a frame over and waits for the answer. After anything but an answer the process is gone.
    pub fn ask<T: DeserializeOwned>(&mut self, task: &Task, time: Duration) -> Reply<T> {
        let mut line = serde_json::to_vec(task).unwrap_or_default();
        line.push(b'\n');
        // A worker that is gone already shows below, as an end of its answers.
        self.stdin.as_mut().map(|stdin| stdin.write_all(&line).and_then(|()| stdin.flush()));
        let deadline = Instant::now() + time;
        loop {
            let left = deadline.saturating_duration_since(Instant::now());
            match self.answers.recv_timeout(left.min(LOOK)) {
                Ok(line) => {
                    return match serde_json::from_str(&line) {
                        Ok(answer) => Reply::Answer(Box::new(answer)),
                        Err(error) => {
                            self.end();
                            let how = format!("its answer was none: {error}");
                            Reply::Died { from_outside: false, of_memory: false, how }
                        }
                    };
                }
                Err(RecvTimeoutError::Timeout) if STOPS.load(Ordering::Relaxed) > 1 => {
                    self.end();
                    return Reply::Stopped;
                }
                Err(RecvTimeoutError::Timeout) if left.is_zero() => {
                    self.end();
                    return Reply::TimedOut;
                }
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => return self.death(),
            }
        }
    }

    fn end(&mut self) {
        self.stdin = None;
        self.child.kill().ok();
        self.child.wait().ok();
    }

    fn death<T>(&mut self) -> Reply<T> {
        self.stdin = None;
        let status = self.child.wait();
        let words = self.words.recv_timeout(Duration::from_secs(1)).unwrap_or_default();
        let of_memory = String::from_utf8_lossy(&words).contains("memory allocation of");
        let (from_outside, how) = status.map_or((false, "it vanished".into()), ending);
        Reply::Died { from_outside, of_memory, how }
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        self.end();
    }
}

#[cfg(unix)]
fn ending(status: ExitStatus) -> (bool, String) {
    use std::os::unix::process::ExitStatusExt;
    const SIGKILL: i32 = 9;
    const SIGTERM: i32 = 15;
    match status.signal() {
        Some(signal) => (matches!(signal, SIGKILL | SIGTERM), format!("signal {signal}")),
        None => (false, format!("exit status {}", status.code().unwrap_or(-1))),
    }
}

#[cfg(not(unix))]
fn ending(status: ExitStatus) -> (bool, String) {
    (false, format!("{status}"))
}

/// This very program, even where its file was replaced by another version since it was started.
fn own_program() -> io::Result<std::path::PathBuf> {
    let link = std::path::Path::new("/proc/self/exe");
    if cfg!(target_os = "linux") && link.exists() { Ok(link.to_path_buf()) } else { std::env::current_exe() }
}

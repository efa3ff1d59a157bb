//! Decoders panic on hostile input, in this thread and in the threads of their pool. Here a panic becomes a value and
//! its text stays off the terminal.

use std::cell::Cell;
use std::panic::{self, AssertUnwindSafe};
use std::sync::Once;
use std::sync::atomic::{AtomicUsize, Ordering};

thread_local! {
    static QUIET: Cell<bool> = const { Cell::new(false) };
}

/// Decodings under way; while there is one, panics in threads of the decoders' pool are silent too.
static GUARDED: AtomicUsize = AtomicUsize::new(0);
static HOOK: Once = Once::new();

fn install() {
    HOOK.call_once(|| {
        let earlier = panic::take_hook();
        panic::set_hook(Box::new(move |info| {
            let here = QUIET.with(Cell::get);
            let in_pool = GUARDED.load(Ordering::Relaxed) > 0 && rayon::current_thread_index().is_some();
            if !here && !in_pool {
                earlier(info);
            }
        }));
    });
}

/// Runs `work`; a panic inside it becomes its message, silently.
pub(crate) fn guarded<T>(work: impl FnOnce() -> T) -> Result<T, String> {
    install();
    let before = QUIET.with(|q| q.replace(true));
    GUARDED.fetch_add(1, Ordering::Relaxed);
    let outcome = panic::catch_unwind(AssertUnwindSafe(work));
    GUARDED.fetch_sub(1, Ordering::Relaxed);
    QUIET.with(|q| q.set(before));
    outcome.map_err(|payload| {
        let text = payload.downcast_ref::<&str>().map(|s| (*s).to_string());
        text.or_else(|| payload.downcast_ref::<String>().cloned()).unwrap_or_else(|| "unknown".into())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_becomes_its_message() {
        assert_eq!(guarded(|| 3), Ok(3));
        assert_eq!(guarded(|| -> u8 { panic!("index {}", 7) }), Err("index 7".to_string()));
    }
}

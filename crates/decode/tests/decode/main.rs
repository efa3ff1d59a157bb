//! Frames from simulated files against what was simulated; damage and hostile input against what must not happen.
#![allow(clippy::unwrap_used, clippy::print_stderr)]

mod broken_files;
mod damage;
mod hostile;
mod samples;
mod simulated;

/// The system's allocator, with the largest request kept: readers must not ask for more than a picture needs.
mod largest_request {
    #![allow(unsafe_code, reason = "an allocator is unsafe by nature; this one hands everything on")]

    use std::alloc::{GlobalAlloc, Layout, System};
    use std::sync::atomic::{AtomicUsize, Ordering};

    static LARGEST: AtomicUsize = AtomicUsize::new(0);

    struct Watched;

    // SAFETY: every call is the system allocator's own.
    unsafe impl GlobalAlloc for Watched {
        unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
            LARGEST.fetch_max(layout.size(), Ordering::Relaxed);
            unsafe { System.alloc(layout) }
        }

        unsafe fn alloc_zeroed(&self, layout: Layout) -> *mut u8 {
            LARGEST.fetch_max(layout.size(), Ordering::Relaxed);
            unsafe { System.alloc_zeroed(layout) }
        }

        unsafe fn dealloc(&self, place: *mut u8, layout: Layout) {
            unsafe { System.dealloc(place, layout) }
        }

        unsafe fn realloc(&self, place: *mut u8, layout: Layout, size: usize) -> *mut u8 {
            LARGEST.fetch_max(size, Ordering::Relaxed);
            unsafe { System.realloc(place, layout, size) }
        }
    }

    #[global_allocator]
    static ALLOCATOR: Watched = Watched;

    /// Bytes of the largest request of this test program until now.
    pub(crate) fn bytes() -> usize {
        LARGEST.load(Ordering::Relaxed)
    }
}

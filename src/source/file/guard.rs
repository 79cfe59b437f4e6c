//! Keeps a panic of the decoder library inside one file.
//!
//! Some damaged files (found by the tests' random damage) make the library divide by zero or index past an end.
//! The program reads many files in one run, so such a file must end as an error of its own, and quietly: the
//! panic's text would mean nothing to the reader.

use std::cell::Cell;
use std::panic;
use std::sync::Once;
use symphonia::core::errors::Error;

thread_local! {
    static QUIET: Cell<bool> = const { Cell::new(false) };
}

/// What [`guarded`] says of a panic. What was being worked on may be left half done: it must not be used again.
pub const GAVE_UP: &str = "damage that the decoder could not handle";

/// Runs `step`; a panic becomes a decoding error with the text [`GAVE_UP`].
pub fn guarded<T>(step: impl FnOnce() -> Result<T, Error>) -> Result<T, Error> {
    hush_guarded_threads();
    let before = QUIET.replace(true);
    let outcome = panic::catch_unwind(panic::AssertUnwindSafe(step));
    QUIET.set(before);
    outcome.unwrap_or(Err(Error::DecodeError(GAVE_UP)))
}

/// Puts a filter in front of the panic hook, once: panics within [`guarded`] are not printed.
fn hush_guarded_threads() {
    static ONCE: Once = Once::new();
    ONCE.call_once(|| {
        let loud = panic::take_hook();
        panic::set_hook(Box::new(move |info| {
            if !QUIET.get() {
                loud(info);
            }
        }));
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_becomes_an_error() {
        assert!(matches!(guarded(|| Ok(7)), Ok(7)));
        let nothing: [u8; 0] = [];
        let broken = guarded(|| Ok(nothing[std::hint::black_box(0)]));
        assert!(matches!(broken, Err(Error::DecodeError(GAVE_UP))));
        assert!(!QUIET.get());
    }
}

//! Keeps ALSA from printing to the terminal while devices are tried.
//!
//! ALSA's library writes every device that cannot be opened to standard error. On Linux this sends its
//! messages of the calling thread to a buffer instead, from now on; elsewhere it does nothing. Calling it
//! again empties the buffer.

pub(super) fn quiet() {
    #[cfg(target_os = "linux")]
    let _ = alsa::Output::local_error_handler();
}

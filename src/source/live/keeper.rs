//! The thread that opens a stream, keeps it, and drops it.
//!
//! Opening can take seconds and dropping can block until the device delivers once more, so both happen on a
//! thread of their own: the caller waits a limited time for the one and never for the other.

use std::sync::mpsc;
use std::thread;
use std::time::Duration;

use super::error::LiveError;

/// How long a device may take to open. A sound server that was just started takes about 2 s.
const ANSWER: Duration = Duration::from_secs(8);

/// Keeps a stream running; dropping it lets the stream go, without waiting for it.
pub(super) struct Keeper {
    _keep: mpsc::Sender<()>,
}

/// Runs `open` on the new thread and keeps the stream that it gives; the rest of its answer comes back.
pub(super) fn keep<S: 'static, A: Send + 'static>(
    device: &str,
    open: impl FnOnce() -> Result<(S, A), LiveError> + Send + 'static,
) -> Result<(Keeper, A), LiveError> {
    let (answer, answered) = mpsc::sync_channel(1);
    let (keep, released) = mpsc::channel::<()>();
    let opening = move || match open() {
        Ok((stream, opened)) => {
            if answer.send(Ok(opened)).is_ok() {
                // Nothing is ever sent: it returns when the keeper is dropped.
                let _ = released.recv();
            }
            drop(stream);
        }
        Err(error) => _ = answer.send(Err(error)),
    };
    thread::Builder::new()
        .name("live input".to_owned())
        .spawn(opening)
        .map_err(|error| LiveError::System { device: device.to_owned(), detail: error.to_string() })?;
    match answered.recv_timeout(ANSWER) {
        Ok(opened) => opened.map(|opened| (Keeper { _keep: keep }, opened)),
        Err(_) => Err(LiveError::NoAnswer { device: device.to_owned(), seconds: ANSWER.as_secs() }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A stream whose end takes long, as that of a stalled device does.
    struct Slow(mpsc::Sender<()>, mpsc::Receiver<()>);

    impl Drop for Slow {
        fn drop(&mut self) {
            let _ = self.0.send(());
            let _ = self.1.recv();
        }
    }

    #[test]
    fn letting_go_does_not_wait() {
        let (dropping, seen) = mpsc::channel();
        let (finish, finished) = mpsc::channel();
        let (keeper, answer) = keep("Desk", move || Ok((Slow(dropping, finished), 7))).expect("opened");
        assert_eq!(answer, 7);
        assert!(seen.try_recv().is_err(), "dropped too early");
        drop(keeper);
        assert_eq!(seen.recv(), Ok(()));
        drop(finish);
    }

    #[test]
    fn a_refusal_comes_back() {
        let refused = keep::<(), ()>("Desk", || Err(LiveError::Busy { device: "Desk".to_owned() }));
        assert_eq!(refused.err(), Some(LiveError::Busy { device: "Desk".to_owned() }));
    }
}

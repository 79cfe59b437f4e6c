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

/// A stream that is being opened.
pub(super) struct Opening<A> {
    keep: mpsc::Sender<()>,
    answered: mpsc::Receiver<Result<A, LiveError>>,
    device: String,
}

/// Runs `open` on the new thread, which keeps the stream that it gives; the rest of its answer comes back.
pub(super) fn begin<S: 'static, A: Send + 'static>(
    device: &str,
    open: impl FnOnce() -> Result<(S, A), LiveError> + Send + 'static,
) -> Result<Opening<A>, LiveError> {
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
    let device = device.to_owned();
    match thread::Builder::new().name("live input".to_owned()).spawn(opening) {
        Ok(_) => Ok(Opening { keep, answered, device }),
        Err(error) => Err(LiveError::System { device, detail: error.to_string() }),
    }
}

impl<A> Opening<A> {
    /// What came of it, if that is known within this time.
    pub fn wait(&self, time: Duration) -> Option<Result<(Keeper, A), LiveError>> {
        match self.answered.recv_timeout(time) {
            Ok(opened) => Some(opened.map(|opened| (Keeper { _keep: self.keep.clone() }, opened))),
            Err(mpsc::RecvTimeoutError::Timeout) => None,
            Err(mpsc::RecvTimeoutError::Disconnected) => Some(Err(self.no_answer())),
        }
    }

    fn no_answer(&self) -> LiveError {
        LiveError::NoAnswer { device: self.device.clone(), seconds: ANSWER.as_secs() }
    }
}

/// Opens it, and waits for that as long as a device may take.
pub(super) fn keep<S: 'static, A: Send + 'static>(
    device: &str,
    open: impl FnOnce() -> Result<(S, A), LiveError> + Send + 'static,
) -> Result<(Keeper, A), LiveError> {
    let opening = begin(device, open)?;
    opening.wait(ANSWER).unwrap_or_else(|| Err(opening.no_answer()))
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

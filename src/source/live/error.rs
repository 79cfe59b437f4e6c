//! What can go wrong with a live input, in words that say how to mend it.
//!
//! Each kind tells the caller what to do next: choose another device, ask for permission, wait and try
//! again, choose another format, or open the device anew. The texts name the device as people know it.

use thiserror::Error;

#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum LiveError {
    #[error(
        "no sound input was found. Plug in the desk or interface, switch it on, and list the devices again{}",
        LINUX_NO_DEVICE
    )]
    NoDevice,

    #[error("no input device is called \"{asked}\". These can be opened:\n{offered}")]
    Unknown { asked: String, offered: String },

    #[error(
        "\"{asked}\" fits more than one input device. Give more of the name, or the whole id in brackets:\n{fitting}"
    )]
    Ambiguous { asked: String, fitting: String },

    #[error("{device} may not be opened: the system refused it ({detail}). {}", PERMISSION)]
    NoPermission { device: String, detail: String },

    #[error("{device} is in use by another program. Close that program (or stop its recording) and try again")]
    Busy { device: String },

    #[error("{device} is gone ({detail}). Check its cable and its power, then open it again")]
    Lost { device: String, detail: String },

    #[error("{device} does not offer {asked}. It offers {offered}")]
    NotOffered { device: String, asked: String, offered: String },

    #[error("{device} came back with {is}; it was heard with {was}. Set it as it was, or begin again")]
    Changed { device: String, was: String, is: String },

    #[error(
        "{device} did not answer within {seconds} seconds. Unplug it, plug it in again, and try once more; \
         if that does not help, restart the computer's sound"
    )]
    NoAnswer { device: String, seconds: u64 },

    #[error("the sound system could not open {device} ({detail}). Close other sound programs or choose another device")]
    System { device: String, detail: String },
}

impl LiveError {
    /// The kind that a failure of the sound system is for us.
    pub(super) fn from_system(device: &str, error: &cpal::Error) -> Self {
        use cpal::ErrorKind as Kind;
        let (device, detail) = (device.to_owned(), error.to_string());
        match error.kind() {
            Kind::PermissionDenied => Self::NoPermission { device, detail },
            Kind::DeviceBusy => Self::Busy { device },
            Kind::DeviceNotAvailable | Kind::StreamInvalidated | Kind::HostUnavailable => Self::Lost { device, detail },
            Kind::UnsupportedConfig | Kind::UnsupportedOperation | Kind::InvalidInput => Self::NotOffered {
                device,
                asked: "what was asked of it".to_owned(),
                offered: format!("something else ({detail}); leave rate and channels to the device"),
            },
            _ => Self::System { device, detail },
        }
    }
}

#[cfg(target_os = "linux")]
const LINUX_NO_DEVICE: &str = ". If it is plugged in, your user may lack the group \"audio\"";
#[cfg(not(target_os = "linux"))]
const LINUX_NO_DEVICE: &str = "";

#[cfg(target_os = "macos")]
const PERMISSION: &str =
    "Allow the microphone for this program (or for the terminal it runs in) in the system's privacy settings";
#[cfg(target_os = "windows")]
const PERMISSION: &str = "Allow desktop programs to use the microphone in the system's privacy settings";
#[cfg(not(any(target_os = "macos", target_os = "windows")))]
const PERMISSION: &str = "Add your user to the group \"audio\" and log in again";

#[cfg(test)]
mod tests {
    use super::*;

    /// Every kind that the sound system may report becomes the one that tells what to do.
    #[test]
    fn kinds() {
        use cpal::ErrorKind as Kind;
        let as_ours = |kind| LiveError::from_system("Desk", &cpal::Error::new(kind));
        assert!(matches!(as_ours(Kind::PermissionDenied), LiveError::NoPermission { .. }));
        assert!(matches!(as_ours(Kind::DeviceBusy), LiveError::Busy { .. }));
        for kind in [Kind::DeviceNotAvailable, Kind::StreamInvalidated, Kind::HostUnavailable] {
            assert!(matches!(as_ours(kind), LiveError::Lost { .. }), "{kind:?}");
        }
        for kind in [Kind::UnsupportedConfig, Kind::UnsupportedOperation, Kind::InvalidInput] {
            assert!(matches!(as_ours(kind), LiveError::NotOffered { .. }), "{kind:?}");
        }
        for kind in [Kind::BackendError, Kind::ResourceExhausted, Kind::Other] {
            assert!(matches!(as_ours(kind), LiveError::System { .. }), "{kind:?}");
        }
    }

    /// A text names the device and ends with something to do.
    #[test]
    fn texts() {
        let busy = LiveError::Busy { device: "Desk".into() }.to_string();
        assert!(busy.contains("Desk") && busy.contains("Close"), "{busy}");
        let none = LiveError::NoDevice.to_string();
        assert!(none.contains("Plug in"), "{none}");
    }
}

//! Quantities of the rig whose mix-up would be silent.
//!
//! SI units: ohms (magnitude of an impedance, or a resistance), metres, watts, volts, amperes. Levels and differences
//! in dB are those of `units`. No arithmetic is hidden here: formulas stand in `sums`. Edge cases: values are taken as
//! they are; the reader of a file refuses what cannot be.

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
        pub struct $name(f64);

        impl $name {
            pub const fn new(value: f64) -> Self {
                Self(value)
            }

            pub const fn get(self) -> f64 {
                self.0
            }
        }
    };
}

quantity! {
    /// Impedance or resistance.
    Ohms
}
quantity! {
    /// A length or a distance.
    Metres
}
quantity! {
    /// Electrical power.
    Watts
}
quantity! {
    /// Effective (RMS) voltage.
    Volts
}
quantity! {
    /// Effective (RMS) current.
    Amperes
}
quantity! {
    /// Cross-section of one conductor, mm².
    Area
}

impl Metres {
    /// International yard and pound agreement, 1959.
    pub const FOOT: Self = Self::new(0.3048);
}

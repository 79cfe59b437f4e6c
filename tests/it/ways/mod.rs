//! The two narrow ways to be connected, whole evenings long: one feed that carries what is soloed on the desk,
//! and a microphone in the room. The stage knows the truth; a careful caller does what the screen says.

mod desk;
mod feed;
mod room;

//! A real window on a display that nobody looks at: it opens, paints what it should, and closes.
//!
//! Needs `Xvfb`; where that is missing and the environment says `BEFOREDOORS_DISPLAY=none`, there is nothing to be
//! tried. X11's own protocol gives the picture (`x11rb`).

use std::io::{BufRead, BufReader, Read};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use assert_cmd::cargo::CommandCargoExt;
use x11rb::connection::Connection;
use x11rb::protocol::xproto::{ConnectionExt, ImageFormat};

struct Ended(Child);

impl Drop for Ended {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

const SIZE: (u16, u16) = (1280, 800);
/// The dim palette's ground and text.
const GROUND: [u8; 3] = [0x10, 0x16, 0x1F];
const TEXT: [u8; 3] = [0xEF, 0xE9, 0xDC];

/// A display of its own, by its number.
fn display() -> Option<(Ended, String)> {
    let (width, height) = SIZE;
    let screen = format!("{width}x{height}x24");
    // It picks a free number itself and tells it.
    // Without the last it would start anew whenever nobody is connected, and turn away who comes just then.
    let server = Command::new("Xvfb")
        .args(["-displayfd", "1", "-screen", "0", &screen, "-nolisten", "tcp", "-noreset"])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn();
    let mut server = match server {
        Ok(server) => server,
        Err(_) if std::env::var("BEFOREDOORS_DISPLAY").as_deref() == Ok("none") => return None,
        Err(error) => panic!("Xvfb: {error}. Install it, or set BEFOREDOORS_DISPLAY=none to do without a real window"),
    };
    let mut number = String::new();
    let out = server.stdout.take().expect("its number");
    let server = Ended(server);
    BufReader::new(out).read_line(&mut number).expect("its number");
    Some((server, format!(":{}", number.trim())))
}

/// How many points of the screen have each of these colours.
fn points(display: &str, colors: [[u8; 3]; 2]) -> [usize; 2] {
    let (connection, screen) = x11rb::connect(Some(display)).expect("the display");
    let root = connection.setup().roots[screen].root;
    let picture = connection.get_image(ImageFormat::Z_PIXMAP, root, 0, 0, SIZE.0, SIZE.1, !0).expect("a picture");
    let picture = picture.reply().expect("a picture");
    colors.map(|[red, green, blue]| picture.data.chunks_exact(4).filter(|p| p[..3] == [blue, green, red]).count())
}

#[test]
fn a_real_window_opens_and_is_not_blank() {
    let Some((_server, display)) = display() else { return };
    let settings = tempfile::tempdir().unwrap();
    let program = Command::cargo_bin("beforedoors")
        .unwrap()
        .env("DISPLAY", &display)
        .env_remove("WAYLAND_DISPLAY")
        .env("XDG_CONFIG_HOME", settings.path())
        .env("HOME", settings.path())
        .current_dir(settings.path())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut program = Ended(program);
    let whole = usize::from(SIZE.0) * usize::from(SIZE.1);
    let began = Instant::now();
    loop {
        let [ground, text] = points(&display, [GROUND, TEXT]);
        if ground > whole / 3 && text > whole / 200 {
            break;
        }
        if program.0.try_wait().unwrap().is_some() {
            let mut told = String::new();
            program.0.stderr.take().expect("it was piped").read_to_string(&mut told).unwrap();
            panic!("the window closed by itself: {told}");
        }
        assert!(began.elapsed() < Duration::from_secs(90), "ground {ground}, text {text} of {whole} points");
        std::thread::sleep(Duration::from_millis(200));
    }
}

#[test]
fn without_a_display_it_goes_on_in_the_terminal_and_says_why() {
    let settings = tempfile::tempdir().unwrap();
    let output = Command::cargo_bin("beforedoors")
        .unwrap()
        .env_remove("DISPLAY")
        .env_remove("WAYLAND_DISPLAY")
        .env_remove("WAYLAND_SOCKET")
        .env("XDG_CONFIG_HOME", settings.path())
        .env("HOME", settings.path())
        .current_dir(settings.path())
        .stdin(Stdio::null())
        .output()
        .unwrap();
    let (out, told) = (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    if cfg!(target_os = "linux") {
        assert!(told.contains("No window: there is no display here. Going on in the terminal."), "{told}");
        assert!(out.contains("Simulated stage"), "{out}");
    }
}

//! What is read: the example folder, every separator and encoding, every heading's other names; and that
//! nothing written is lost, nothing random panics.

use std::path::Path;

use beforedoors::event::{
    Connection, Date, Doors, Event, EventError, Input, Listening, inputs_text, parse_inputs, read_inputs, write_inputs,
};
use beforedoors::units::{ChannelId, Db, Dbfs, SourceKind};
use proptest::prelude::*;

fn example() -> &'static Path {
    Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/events/spring-concert"))
}

fn parsed(bytes: impl AsRef<[u8]>) -> Vec<Input> {
    match parse_inputs("inputs.csv", bytes.as_ref()) {
        Ok((inputs, _)) => inputs,
        Err(error) => panic!("{error}"),
    }
}

#[test]
fn the_example_is_read_whole_and_without_a_doubt() {
    let (event, warnings) = Event::open(example()).expect("the example opens");
    assert!(warnings.is_empty(), "{warnings:?}");
    let settings = &event.settings;
    assert_eq!(settings.name, "Spring concert");
    assert_eq!(settings.place.as_deref(), Some("School hall"));
    assert_eq!(settings.doors, Doors::new(Date::new(2027, 3, 12), 18, 30));
    assert_eq!(settings.connection, Some(Listening::AllChannels));
    assert_eq!(settings.device.as_deref(), Some("Hall desk"));
    assert_eq!(settings.desk.knob.as_deref(), Some("Trim"));
    assert_eq!(settings.desk.lamp.as_deref(), Some("Peak"));
    assert_eq!(settings.desk.marks, Some(true));
    assert_eq!(settings.desk.reference, Some(Dbfs::new(-22.0)));
    assert_eq!(settings.desk.headroom, Some(Db::new(20.0)));
    assert_eq!(settings.desk.date, Date::new(2027, 3, 10));
    let songs: Vec<(&str, usize)> = settings.songs.iter().map(|song| (song.name.as_str(), song.open.len())).collect();
    assert_eq!(songs, [("Welcome", 1), ("Morning song", 4), ("Jazz band", 6), ("Finale, everyone", 11)]);
    assert_eq!(settings.songs[1].open, [2, 4, 5, 7].map(|number| ChannelId::new(number - 1)));

    assert_eq!(event.inputs.len(), 12);
    let soloist = &event.inputs[1];
    assert_eq!(soloist.channel.number(), 2);
    assert_eq!(soloist.name, "Soloist");
    assert_eq!(soloist.kind, SourceKind::SoloVocal);
    assert_eq!(soloist.connection, Some(Connection::Radio));
    assert_eq!(soloist.show_lift, Some(Db::new(9.0)));
    assert_eq!(soloist.phantom, Some(false));
    assert_eq!(soloist.notes.as_deref(), Some("shy at first, then loud"));
    let lectern = &event.inputs[0];
    assert_eq!(lectern.notes.as_deref(), Some("ask for one sentence \"to the back wall\""));
    assert_eq!((lectern.show_lift, lectern.stand.as_deref()), (None, Some("lectern clip")));
    assert_eq!((lectern.place_x_m, lectern.place_y_m), (Some(-4.0), Some(0.5)));
}

/// Words of headings in the cells below them make no heading line, and what is read is written and read again.
#[test]
fn cells_may_hold_the_words_of_headings() {
    let list =
        "channel,name,kind,stand,a,b,c,d,e,f\n1,channel,speech,,name,kind,connection,notes,x,y\n2,Bass,bass,,,,,,,\n";
    let inputs = parsed(list);
    let names: Vec<&str> = inputs.iter().map(|input| input.name.as_str()).collect();
    assert_eq!(names, ["channel", "Bass"]);
    assert_eq!(parsed(inputs_text(&inputs)), inputs);
    // Headings of another separator in one quoted cell.
    let tabs = "channel,name,kind,own\n1,Lectern,speech,\"channel\tname\tkind\tnotes\tx\ty\"\n";
    assert_eq!(parsed(tabs)[0].others, [("own".to_owned(), "channel\tname\tkind\tnotes\tx\ty".to_owned())]);
}

const COMMAS: &str = "channel,name,kind,connection,show_lift_db,notes\n\
    1,Lectern,speech,mic,,\n2,Soloist,solo vocal,radio,6.5,\"shy; then, loud\"\n12,Laptop,playback,usb,1,\n";

/// What spreadsheets of other countries, systems and settings make of the same sheet.
#[test]
fn every_export_of_a_sheet_gives_the_same_list() {
    let expected = parsed(COMMAS);
    assert_eq!(expected.len(), 3);
    assert_eq!(expected[1].show_lift, Some(Db::new(6.5)));
    let semicolons = "channel;name;kind;connection;show_lift_db;notes\n\
        1;Lectern;speech;mic;;\n2;Soloist;solo vocal;radio;6,5;\"shy; then, loud\"\n12;Laptop;playback;usb;1;\n";
    let tabs = "channel\tname\tkind\tconnection\tshow_lift_db\tnotes\n\
        1\tLectern\tspeech\tmic\t\t\n2\tSoloist\tsolo vocal\tradio\t6,5\tshy; then, loud\n12\tLaptop\tplayback\tusb\t1\t\n";
    let all_quoted = "\"channel\";\"name\";\"kind\";\"connection\";\"show_lift_db\";\"notes\"\r\n\
        \"1\";\"Lectern\";\"speech\";\"mic\";\"\";\"\"\r\n\"2\";\"Soloist\";\"solo vocal\";\"radio\";\"6,5\";\"shy; then, loud\"\r\n\
        \"12\";\"Laptop\";\"playback\";\"usb\";\"1\";\"\"\r\n";
    let other_order = "Notes;Show lift (dB);TYPE; Source ;Ch;Mic/DI\n\
        ;;Lectern;Lectern;CH 1;Microphone\n\"shy; then, loud\";+6,5 dB;Solo-Vocal;Soloist;02;wireless\n;1.0;laptop;Laptop;12.0;USB\n";
    let sep_line = format!("sep=;\n{semicolons}");
    let title = format!("Spring concert,,,,,\n\n{COMMAS}");
    let blank_lines = COMMAS.replace('\n', "\n\n,,,,,\n  \n");
    let texts = [
        semicolons.to_owned(),
        tabs.to_owned(),
        all_quoted.to_owned(),
        other_order.to_owned(),
        sep_line,
        title,
        blank_lines,
        COMMAS.replace('\n', "\r\n"),
        COMMAS.replace('\n', "\r"),
        COMMAS.trim_end().to_owned(),
    ];
    for text in &texts {
        let utf16 = |bytes: fn(u16) -> [u8; 2]| -> Vec<u8> {
            "\u{FEFF}".encode_utf16().chain(text.encode_utf16()).flat_map(bytes).collect()
        };
        assert_eq!(parsed(text), expected, "{text}");
        assert_eq!(parsed(format!("\u{FEFF}{text}")), expected, "UTF-8 with a mark: {text}");
        assert_eq!(parsed(utf16(u16::to_le_bytes)), expected, "UTF-16 LE: {text}");
        assert_eq!(parsed(utf16(u16::to_be_bytes)), expected, "UTF-16 BE: {text}");
    }
}

/// "Input" is the channel where no column says so, else the name; "source" the name, else the kind.
#[test]
fn headings_that_mean_two_things_mean_what_is_missing() {
    let expected = parsed("channel,name,kind\n3,Trumpet,brass\n");
    for text in [
        "Input,Source,Type\n3,Trumpet,brass\n",
        "Ch,Input,Source\n3,Trumpet,brass\n",
        "Source,Name,#\nbrass,Trumpet,3\n",
        "instrument,label,no.\ntrumpet,Trumpet,3\n",
    ] {
        assert_eq!(parsed(text), expected, "{text}");
    }
}

#[test]
fn what_is_not_said_is_not_made_up() {
    let inputs = parsed("channel,name,kind\n7,Choir,choir\n");
    assert_eq!(inputs, [Input::new(ChannelId::new(6), "Choir", SourceKind::Choir)]);
    assert_eq!(inputs[0].label(), "Choir");
    assert_eq!(Input::new(ChannelId::new(6), "", SourceKind::Other).label(), "channel 7");
}

#[test]
fn unknown_columns_are_kept() {
    let text =
        "channel,name,kind,connection,show_lift_db,colour tape,box\n1,Lectern,speech,mic,,red,3\n2,Choir,choir,,,,4\n";
    let inputs = parsed(text);
    let kept = |pairs: &[(&str, &str)]| pairs.iter().map(|(a, b)| (a.to_string(), b.to_string())).collect::<Vec<_>>();
    assert_eq!(inputs[0].others, kept(&[("colour tape", "red"), ("box", "3")]));
    assert_eq!(inputs[1].others, kept(&[("colour tape", ""), ("box", "4")]));
    assert_eq!(inputs_text(&inputs), text);
}

#[test]
fn the_example_is_written_as_it_is_read() {
    let (inputs, warnings) = read_inputs(example().join("inputs.csv")).expect("read");
    assert!(warnings.is_empty());
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("inputs.csv");
    write_inputs(&path, &inputs).expect("written");
    assert_eq!(read_inputs(&path).expect("read back").0, inputs);
}

#[test]
fn what_could_not_be_read_back_is_not_written() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("inputs.csv");
    let twice = [1, 1].map(|index| Input::new(ChannelId::new(index), "Choir", SourceKind::Choir));
    let error = write_inputs(&path, &twice).expect_err("channel 2 stands twice");
    assert!(matches!(error, EventError::Mistakes(_)), "{error}");
    assert!(!path.exists());
}

/// Text as a person may have it in a cell, without the blanks around it that reading drops.
fn cell_text() -> impl Strategy<Value = String> {
    "[a-zA-Z0-9 ,;\"'#=äß\u{4e16}\n\t-]{0,12}".prop_map(|text| text.trim().to_owned())
}

fn one_line_text() -> impl Strategy<Value = String> {
    cell_text().prop_map(|text| text.split_whitespace().collect::<Vec<_>>().join(" "))
}

fn said(text: impl Strategy<Value = String>) -> impl Strategy<Value = Option<String>> {
    text.prop_map(|text| (!text.is_empty()).then_some(text))
}

fn input() -> impl Strategy<Value = Input> {
    let words = (one_line_text(), said(one_line_text()), said(one_line_text()), said(cell_text()), cell_text());
    let place = (proptest::option::of(-100.0..=100.0f64), proptest::option::of(-100.0..=100.0f64));
    let rest = (
        proptest::sample::select(SourceKind::ALL.to_vec()),
        proptest::option::of(proptest::sample::select(Connection::ALL.to_vec())),
        proptest::option::of(0.0..=20.0f64),
        proptest::option::of(any::<bool>()),
    );
    (words, place, rest).prop_map(|(words, place, rest)| {
        let mut input = Input::new(ChannelId::new(0), words.0, rest.0);
        (input.person, input.stand, input.notes) = (words.1, words.2, words.3);
        (input.place_x_m, input.place_y_m) = place;
        (input.connection, input.show_lift, input.phantom) = (rest.1, rest.2.map(Db::new), rest.3);
        input.others = vec![("box; own".to_owned(), words.4)];
        input
    })
}

/// A sheet with some of its characters changed, as a slip of the hand or a broken disk would.
fn damaged_sheet() -> impl Strategy<Value = Vec<u8>> {
    let sheet = std::fs::read(example().join("inputs.csv")).expect("the example");
    let slips = proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>(), 0..3u8), 0..12);
    slips.prop_map(move |slips| {
        let mut bytes = sheet.clone();
        for (at, byte, how) in slips {
            let at = at.index(bytes.len());
            match how {
                0 => bytes[at] = byte,
                1 => bytes.insert(at, byte),
                _ => bytes.truncate(at.max(1)),
            }
        }
        bytes
    })
}

/// Whatever is read can be written and read again as the same; whatever is refused says where.
fn holds(bytes: &[u8]) {
    match parse_inputs("inputs.csv", bytes) {
        Ok((inputs, _)) => assert_eq!(parsed(inputs_text(&inputs)), inputs),
        Err(error) => {
            assert!(!error.mistakes().is_empty());
            for mistake in error.mistakes() {
                let text = mistake.to_string();
                assert!(mistake.at.line >= 1 && mistake.at.column >= 1, "{text}");
                assert!(!text.contains(|c: char| c.is_control()), "not in one safe line: {text:?}");
            }
        }
    }
}

proptest! {
    #[test]
    fn what_is_written_is_read_back(mut inputs in proptest::collection::vec(input(), 0..20)) {
        for (index, input) in inputs.iter_mut().enumerate() {
            input.channel = ChannelId::from_index(index);
        }
        prop_assert_eq!(parsed(inputs_text(&inputs)), inputs);
    }

    #[test]
    fn damaged_sheets_are_read_or_refused(bytes in damaged_sheet()) {
        holds(&bytes);
    }

    #[test]
    fn random_bytes_are_read_or_refused(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
        holds(&bytes);
    }

    #[test]
    fn random_sheets_are_read_or_refused(text in "(channel|name|kind|ch|input|source|[,;\t\n\r\"=]|sep=|[0-9]|speech|x|é| ){0,60}") {
        holds(text.as_bytes());
    }

    #[test]
    fn random_sheets_under_good_headings_are_read_or_refused(rows in "([0-9]{1,2}|[,;\t\n\"]|speech|choir|mic|\\PC){0,60}") {
        holds(format!("channel,name,kind,connection,show_lift_db,phantom,place_x_m\n{rows}").as_bytes());
    }
}

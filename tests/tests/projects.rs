//! Projects, closed and opened again in a host: what the composer set is there, and no saved
//! state, however damaged, takes the host down.

use procession::params::DECLARATIONS;
use procession_tests::host::{Block, Error, Library, Loaded, Plugin, Setup};
use procession_tests::places::places;
use procession_tests::staging::Dice;
use serde_json::{Value, json};

type Outcome = Result<(), Error>;

const VERSION_1: &str = include_str!("../../plugin/tests/states/version-1.json");

fn instance() -> Result<Plugin<Loaded>, Error> {
    Library::linked(&procession::clap_entry)?.first_plugin()
}

/// A state as the framework hands it to a host: the length in eight bytes, then the text.
fn framed(state: &str) -> Vec<u8> {
    let mut bytes = (state.len() as u64).to_le_bytes().to_vec();
    bytes.extend_from_slice(state.as_bytes());
    bytes
}

/// What a saved state says.
fn read(bytes: &[u8]) -> Value {
    serde_json::from_slice(&bytes[8..]).expect("a saved state is JSON")
}

/// The parts kept as JSON within the JSON.
fn field(state: &Value, key: &str) -> Value {
    serde_json::from_str(state["fields"][key].as_str().expect("a text")).expect("JSON")
}

/// Every parameter as the host shows it.
fn shown(plugin: &mut Plugin<Loaded>) -> Result<Vec<String>, Error> {
    let texts = DECLARATIONS
        .iter()
        .map(|declaration| plugin.text(&declaration.id));
    texts.collect()
}

#[test]
fn a_host_that_keeps_lanes_by_place_finds_every_parameter_where_it_was() -> Outcome {
    let parameters = instance()?.parameters();
    let names: Vec<_> = parameters.into_iter().map(|each| each.name).collect();
    assert_eq!(names, places());
    Ok(())
}

#[test]
fn a_project_of_version_1_opens_in_a_host_and_is_saved_as_it_was() -> Outcome {
    let mut plugin = instance()?;
    plugin.load(&framed(VERSION_1))?;
    for (id, text) in [
        ("hold", "On"),
        ("grid", "1/16 triplet"),
        ("shifts", "Endless"),
        ("offset", "-1.25 steps"),
        ("source_tonic", "D"),
        ("source_mode", "Aeolian"),
        ("target_mode", "Custom"),
        ("fold_amount", "33.3 %"),
        ("copy3_octave", "-3 octaves"),
    ] {
        assert_eq!(plugin.text(id)?, text, "{id}");
    }
    let before: Value = serde_json::from_str(VERSION_1).expect("JSON");
    let after = read(&plugin.save()?);
    // What came later is added at its default; all else is as it was.
    let mut params = read(&instance()?.save()?)["params"].clone();
    for (id, value) in before["params"].as_object().expect("an object") {
        params[id] = value.clone();
    }
    assert_eq!(after["params"], params);
    let mut kept = field(&before, "kept");
    kept["window"]["dark"] = json!(false);
    kept["modulations"] = json!([]);
    // It is saved as what is written now.
    kept["version"] = json!(procession::state::VERSION);
    assert_eq!(field(&after, "kept"), kept);
    let choices = field(&after, "choices");
    for (id, option) in field(&before, "choices").as_object().expect("an object") {
        assert_eq!(&choices[id], option, "{id}");
    }
    Ok(())
}

#[test]
fn every_parameter_comes_back_as_it_was_set() -> Outcome {
    for end in [0.0, 1.0] {
        let mut plugin = instance()?;
        for parameter in plugin.parameters() {
            let value = parameter.min + end * (parameter.max - parameter.min);
            plugin.set_value(&parameter.name, value)?;
        }
        let before = shown(&mut plugin)?;
        let saved = plugin.save()?;
        let mut reopened = instance()?;
        reopened.load(&saved)?;
        assert_eq!(shown(&mut reopened)?, before);
        assert_eq!(reopened.save()?, saved);
    }
    Ok(())
}

/// Shares of a parameter's range that rounding is apt to get wrong: the ends, hairs beside them and
/// beside the middle, which is 0 of offsets, and values that no decimal fraction meets.
fn awkward_shares() -> Vec<f64> {
    let hair = f64::from(f32::EPSILON);
    let tiny = f64::from(f32::MIN_POSITIVE);
    let mut shares = vec![0.0, -0.0, 1.0, hair, 1.0 - hair, tiny, tiny / 64.0];
    shares.extend([
        0.5,
        0.5 - hair,
        0.5 + hair,
        0.499_98,
        0.500_02,
        0.998,
        0.9999,
    ]);
    shares.extend([1.0 / 3.0, 0.200_500_01, 0.072_599_997_5, 0.884_500_05]);
    let mut dice = Dice::new(8);
    shares.extend((0..200).map(|_| dice.part()));
    shares
}

#[test]
fn whatever_a_host_sets_is_saved_the_same_again_to_the_byte() -> Outcome {
    let mut other = instance()?;
    for share in awkward_shares() {
        let mut plugin = instance()?;
        for parameter in plugin.parameters() {
            let value = parameter.min + share * (parameter.max - parameter.min);
            plugin.set_value(&parameter.name, value)?;
        }
        let saved = plugin.save()?;
        let mut fresh = instance()?;
        for opened in [&mut fresh, &mut other] {
            opened.load(&saved)?;
            let again = opened.save()?;
            assert_eq!(read(&again)["params"], read(&saved)["params"], "at {share}");
            assert!(again == saved, "at {share}");
            for parameter in plugin.parameters() {
                let name = &parameter.name;
                assert_eq!(
                    opened.value(name)?,
                    plugin.value(name)?,
                    "{name} at {share}"
                );
            }
        }
    }
    Ok(())
}

#[test]
fn a_state_of_nonsense_opens_with_proper_values_and_can_be_saved_again() -> Outcome {
    let whole: Value = serde_json::from_str(VERSION_1).expect("JSON");
    for nonsense in [
        json!({"i32": i32::MAX}),
        json!({"i32": i32::MIN}),
        json!({"i32": 77}),
        json!({"f32": 1e30}),
        json!({"f32": -1e30}),
        json!({"bool": true}),
        json!({"string": "of another version"}),
    ] {
        let mut state = whole.clone();
        let parameters = state["params"].as_object_mut().expect("a map");
        parameters
            .values_mut()
            .for_each(|value| *value = nonsense.clone());
        state["fields"] = json!({"kept": "{\"version\":", "choices": "[]"});
        let mut plugin = instance()?;
        plugin.load(&framed(&state.to_string()))?;
        for parameter in plugin.parameters() {
            let value = plugin.value(&parameter.name)?;
            assert!(
                (parameter.min..=parameter.max).contains(&value),
                "{}: {value} from {nonsense}",
                parameter.name
            );
        }
        plugin.save()?;
    }
    Ok(())
}

#[test]
fn a_state_cut_off_anywhere_leaves_what_was_there() -> Outcome {
    let mut plugin = instance()?;
    plugin.load(&framed(VERSION_1))?;
    let before = plugin.save()?;
    for end in (0..VERSION_1.trim_end().len()).step_by(97) {
        assert!(
            plugin.load(&framed(&VERSION_1[..end])).is_err(),
            "cut at {end}"
        );
    }
    assert_eq!(plugin.save()?, before);
    Ok(())
}

#[test]
fn states_load_while_another_thread_plays() -> Outcome {
    let mut plugin = instance()?.activate(Setup::default())?.start()?;
    let (main, playing) = plugin.split();
    std::thread::scope(|threads| {
        let blocks = threads.spawn(move || -> Outcome {
            for _ in 0..2000 {
                playing.process(&Block::of(16))?;
            }
            Ok(())
        });
        while !blocks.is_finished() {
            main.load(&framed(VERSION_1))?;
            main.save()?;
            main.load(&framed("{\"params\":{},\"fields\":{}}"))?;
        }
        blocks.join().expect("no block failed")
    })?;
    plugin.load(&framed(VERSION_1))?;
    plugin.load(&framed("{\"params\":{},\"fields\":{}}"))?;
    let kept = field(&read(&plugin.save()?), "kept");
    let notes = kept["phrase"]["notes"].as_array().map(Vec::len);
    assert_eq!(
        notes,
        Some(3),
        "a state without a phrase leaves the one there was"
    );
    Ok(())
}

/// The program's project is the state that a host keeps, with the tempo beside it; and back.
#[test]
fn a_project_of_the_program_is_what_a_host_keeps_there_and_back() -> Outcome {
    use procession::params::Parameters;
    use procession::program::project::{SONG, open, state_of, written};
    use procession::program::song::song;

    let folder = std::env::temp_dir().join(format!("procession-there-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("a folder");
    let path = folder.join("night.procession");

    // A host's state, as it is, opens in the program, which would save the same.
    let mut host = instance()?;
    host.load(&framed(VERSION_1))?;
    let of_host = host.save()?;
    std::fs::write(&path, &of_host[8..]).expect("a file");
    let (parameters, _) = Parameters::of_program();
    open(&path).expect("it opens").take_place(&parameters);
    let of_program = serde_json::to_vec(&state_of(&parameters)).expect("JSON");
    assert_eq!(of_program, of_host[8..], "the same bytes");

    // A project of the program opens in a host, which passes the tempo over.
    let (song, _) = song(97.0);
    let project = written(&parameters, &song);
    let mut other = instance()?;
    let text = String::from_utf8(project.clone()).expect("text");
    other.load(&framed(&text))?;
    assert_eq!(other.save()?, of_host);
    let mut project: Value = serde_json::from_slice(&project).expect("JSON");
    let fields = project["fields"].as_object_mut().expect("fields");
    assert_eq!(fields.remove(SONG), Some(json!("{\"tempo\":97.0}")));
    assert_eq!(project, read(&of_host), "and nothing else");
    std::fs::remove_dir_all(&folder).expect("it goes");
    Ok(())
}

//! The parameters as a host sees them, against the public contract.

use nice_plug::params::{ParamFlags, Params};
use nice_plug::plugin::ParamValue;
use procession::declaration::{Choice, Declaration, Kind, Shown, Whole};
use procession::params::{Parameters, describe};
use procession_core::mode::PitchName;
use procession_core::settings::Settings;
use std::collections::HashSet;
use std::fmt::Write;

/// The contract: id, name, lowest, highest, default, whether a host may automate it.
/// Changing a line breaks projects and automation lanes; adding one does not.
const CONTRACT: &str = "
    hold          | Hold          | Off         | On         | Off                | yes
    grid          | Grid          | 1/4         | 1/32       | 1/16               | no
    length        | Phrase length | Auto        | 128 steps  | Auto               | no
    snap          | Snap          | 0 %         | 100 %      | 100 %              | no
    thru          | Play through  | Off         | On         | Off                | yes
    copies        | Copies        | 0 copies    | 8 copies   | 1 copy             | yes
    motion        | Motion        | Drift       | Build up   | Drift              | yes
    offset        | Offset        | -32 steps   | 32 steps   | 0 steps            | yes
    shift_by      | Shift by      | -8 steps    | 8 steps    | 1 step             | yes
    copies_move   | Copies move   | Fanned      | In turn    | Fanned             | yes
    dwell         | Dwell         | 1 cycle     | 64 cycles  | 8 cycles           | yes
    drift         | Drift over    | 1 cycle     | 64 cycles  | 4 cycles           | yes
    shifts        | Shifts        | Auto        | Endless    | Auto               | yes
    entry         | Entry gap     | 0 cycles    | 64 cycles  | 0 cycles           | yes
    advance       | Advance       | Counted     | On cue     | Counted            | yes
    cue           | Cue           | Off         | On         | Off                | yes
    cue_key       | Cue key       | Off         | G9         | Off                | no
    cue_controller | Cue controller | Off       | CC 119     | Off                | no
    growth        | Growth        | Off         | Lengthen   | Off                | yes
    growth_step   | Growth step   | -8 notes    | 8 notes    | 1 note             | yes
    growth_every  | Grow every    | 1 cycle     | 32 cycles  | 2 cycles           | yes
    growth_order  | Growth order  | Forward     | Scattered  | Strong beats first | yes
    copies_grow   | Copies grow   | Off         | On         | Off                | yes
    fold          | Fold          | Off         | Nearest    | Off                | yes
    source_tonic  | Source tonic  | Auto        | B          | Auto               | yes
    source_mode   | Source mode   | Auto        | Custom     | Auto               | yes
    target_tonic  | Target tonic  | C           | B          | C                  | yes
    target_mode   | Target mode   | Ionian      | Custom     | Dorian             | yes
    fold_amount   | Fold amount   | 0 %         | 100 %      | 100 %              | yes
    channels      | Channels      | One each    | All on one | One each           | no
    steady_level  | Steady level  | 0 %         | 200 %      | 100 %              | yes
    width         | Width         | 0 %         | 100 %      | 60 %               | yes
    audition      | Audition      | Off         | 0 dB       | Off                | yes
    bypass        | Bypass        | Off         | On         | Off                | yes
    resulting     | Resulting     | Off         | Coincidences | Off              | yes
    resulting_level | Resulting level | 0 %     | 200 %      | 100 %              | yes
    resulting_octave | Resulting octave | -3 octaves | 3 octaves | 0 octaves     | yes
    copyK_offset  | Copy K offset | -32 steps   | 32 steps   | 0 steps            | yes
    copyK_level   | Copy K level  | 0 %         | 200 %      | 100 %              | yes
    copyK_octave  | Copy K octave | -3 octaves  | 3 octaves  | 0 octaves          | yes
    begin_on      | Begin on      | Now         | Bar        | Bar                | no
    end_on        | End on        | Now         | Cycle      | Now                | no
    count_in      | Count-in      | 0 bars      | 2 bars     | 0 bars             | no
    steady_mute   | Steady mute   | Off         | On         | Off                | yes
    steady_solo   | Steady solo   | Off         | On         | Off                | yes
    steady_program | Steady program | 1 Acoustic Grand Piano | 128 Gunshot | 13 Marimba | no
    copyK_degrees | Copy K degrees | -14 degrees | 14 degrees | 0 degrees         | yes
    copyK_semitones | Copy K semitones | -12 semitones | 12 semitones | 0 semitones | yes
    copyK_backwards | Copy K backwards | Off      | On         | Off                | yes
    copyK_upside_down | Copy K upside down | Off  | On         | Off                | yes
    copyK_mute    | Copy K mute   | Off         | On         | Off                | yes
    copyK_solo    | Copy K solo   | Off         | On         | Off                | yes
    copyK_program | Copy K program | 1 Acoustic Grand Piano | 128 Gunshot | 13 Marimba | no
    voice_level   | Voice level   | Off         | 0 dB       | Off                | yes
    voice_with    | Voice with    | Steady voice | Every voice | Steady voice     | yes
    send_tuning   | Send tuning   | Off         | On         | Off                | yes
    swing         | Swing         | 1 to 1      | 3.5 to 1   | 1 to 1             | no
    breathe_timing | Timing breathes | 0 %      | 25 %       | 0 %                | no
    breathe_velocity | Velocity breathes | 0 %  | 25 %       | 0 %                | no
    accents       | Accents       | 0 %         | 100 %      | 0 %                | no
    steady_mallet | Steady mallet | Wood        | Soft       | Wood               | yes
    resulting_mallet | Resulting mallet | Wood  | Soft       | Wood               | yes
    copyK_mallet  | Copy K mallet | Wood        | Soft       | Wood               | yes
    listen_to     | Listen to     | Notes       | Voice      | Notes              | yes
    copyK_length  | Copy K length | As the phrase | 128 steps | As the phrase     | yes
";

/// Calls `look` with every parameter of a new instance.
fn each(look: impl FnMut(&Declaration, &dyn Shown)) {
    let (parameters, _) = Parameters::new();
    parameters.each(look);
}

/// The normalized values a host could ask for: every step, or a thousand in between.
fn all_values(parameter: &dyn Shown) -> Vec<f32> {
    let steps = parameter.steps().unwrap_or(1000);
    (0..=steps).map(|step| step as f32 / steps as f32).collect()
}

/// What a host learns about a parameter, as one line of the contract.
fn line(declaration: &Declaration, parameter: &dyn Shown) -> [String; 6] {
    let fixed = parameter.host_flags().contains(ParamFlags::NON_AUTOMATABLE);
    [
        declaration.id.clone(),
        parameter.shown_name().to_owned(),
        parameter.text_of(0.0),
        parameter.text_of(1.0),
        parameter.text_of(parameter.normalized_default()),
        if fixed { "no" } else { "yes" }.to_owned(),
    ]
}

#[test]
fn every_parameter_is_as_the_contract_has_it() {
    let rows = CONTRACT.lines().filter(|row| !row.trim().is_empty());
    let rows: Vec<_> = rows
        .map(|row| row.split('|').map(str::trim).collect::<Vec<_>>().join("|"))
        .collect();
    let is_of_copies = |row: &String| row.starts_with("copyK");
    let runs = rows.chunk_by(|one, next| is_of_copies(one) == is_of_copies(next));
    let expected: Vec<String> = runs
        .flat_map(|run| {
            let copies = if run.iter().any(is_of_copies) {
                1..=8
            } else {
                1..=1
            };
            copies.flat_map(move |copy| {
                let numbered = |row: &String| {
                    row.replace("opyK", &format!("opy{copy}"))
                        .replace("opy K", &format!("opy {copy}"))
                };
                run.iter().map(numbered).collect::<Vec<_>>()
            })
        })
        .collect();
    let mut found = Vec::new();
    each(|declaration, parameter| found.push(line(declaration, parameter).join("|")));
    assert_eq!(found, expected);
}

#[test]
fn the_host_gets_the_declared_ids_in_the_declared_order() {
    let (parameters, _) = Parameters::new();
    let ids: Vec<String> = parameters
        .param_map()
        .into_iter()
        .map(|(id, ..)| id)
        .collect();
    let mut declared = Vec::new();
    parameters.each(|declaration, parameter| {
        declared.push(declaration.id.clone());
        assert_eq!(declaration.name, parameter.shown_name());
    });
    assert_eq!(ids, declared);
}

#[test]
fn the_whole_table_reads_as_it_did() {
    let mut table = String::new();
    each(|declaration, parameter| {
        let [id, name, lowest, highest, default, automatable] = line(declaration, parameter);
        let flags = parameter.host_flags();
        let _ = writeln!(
            table,
            "{id}: {name}, {lowest} ... {highest} ({default}), automatable: {automatable}, flags {:#x}, {:?} steps",
            flags.bits(),
            parameter.steps()
        );
        let _ = writeln!(table, "    {}", declaration.heard);
        let few = parameter.steps().filter(|steps| *steps <= 32).unwrap_or(6);
        let texts: Vec<_> = (0..=few)
            .map(|step| parameter.text_of(step as f32 / few as f32))
            .collect();
        let _ = writeln!(table, "    {}", texts.join(", "));
    });
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/parameters.txt");
    if std::env::var_os("UPDATE_PARAMETERS").is_some() {
        std::fs::write(path, &table).expect("the table can be written");
    }
    let kept = std::fs::read_to_string(path).expect("the table is kept beside this test");
    assert!(
        kept == table,
        "The parameters changed. If that is meant, run this test with UPDATE_PARAMETERS=1 and \
         review the difference of {path}.\n{table}"
    );
}

/// The values of a parameter as the manual lists them: `Auto, 1 ... 128 steps`.
fn values(kind: &Kind) -> String {
    match kind {
        Kind::Toggle(_) => "Off, On".to_owned(),
        Kind::Choice(list) => options(list),
        Kind::Whole(whole) => numbers(whole),
        Kind::Amount(amount) => {
            let (from, to) = (amount.numbers.start(), amount.numbers.end());
            let numbers = format!("{from} ... {to} {}", amount.unit.many);
            let below = amount.below.map(str::to_owned);
            below
                .into_iter()
                .chain([numbers])
                .collect::<Vec<_>>()
                .join(", ")
        }
    }
}

/// All of a short list, the ends of a long one.
fn options(list: &Choice) -> String {
    let names: Vec<_> = list.options.iter().map(|option| option.name).collect();
    match names.as_slice() {
        few if few.len() <= 8 => few.join(", "),
        ["Auto", first, .., last] => format!("Auto, {first} ... {last}"),
        [first, .., last] => format!("{first} ... {last}"),
        _ => String::new(),
    }
}

fn numbers(whole: &Whole) -> String {
    let (from, to) = (*whole.numbers.start(), *whole.numbers.end());
    let numbers = match whole.naming {
        Some(naming) => format!("{} ... {}", (naming.text)(from), (naming.text)(to)),
        None => format!("{from} ... {to} {}", whole.unit.many),
    };
    let all = [whole.below, Some(&numbers), whole.above];
    all.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

#[test]
fn the_manual_lists_every_parameter_as_it_is_declared() {
    let mut declared = Vec::new();
    each(|declaration, parameter| {
        let own = declaration.name.strip_prefix("Copy 1 ");
        let name = match own {
            Some(own) => format!("Copy 1 ... 8 {own}"),
            None => declaration.name.clone(),
        };
        let mark = if declaration.automatable { "" } else { " *" };
        let default = parameter.text_of(parameter.normalized_default());
        let of_others = (2..=8).any(|copy| name.starts_with(&format!("Copy {copy} ")));
        if !of_others {
            declared.push(format!(
                "| {name}{mark} | {} | {default} |",
                values(&declaration.kind)
            ));
        }
    });
    let manual = include_str!("../MANUAL.md");
    let (_, chapter) = manual
        .split_once("## The parameters")
        .expect("the manual has a chapter on parameters");
    let rows = chapter.lines().filter(|line| line.starts_with("| "));
    let listed: Vec<_> = rows
        .skip(1)
        .map(|row| {
            let (contract, heard) = row
                .trim_end_matches(" |")
                .rsplit_once(" | ")
                .expect("a row has columns");
            assert!(!heard.is_empty(), "{row}");
            format!("{contract} |")
        })
        .collect();
    assert_eq!(listed, declared);
}

#[test]
fn no_two_parameters_share_a_number_and_none_is_where_controllers_are() {
    // The framework's own formula; it reserves the top 130 x 16 numbers for controllers in VST3.
    let number = |id: &str| {
        let hash = id.bytes().fold(0_u32, |hash, byte| {
            hash.wrapping_mul(31).wrapping_add(byte.into())
        });
        hash & !(1 << 31)
    };
    let mut numbers = HashSet::new();
    each(|declaration, _| {
        let number = number(&declaration.id);
        assert!(numbers.insert(number), "{} collides", declaration.id);
        assert!(number < (1 << 31) - 130 * 16, "{}", declaration.id);
    });
}

#[test]
fn every_text_that_is_shown_is_understood_and_means_the_same_value() {
    each(|declaration, parameter| {
        for value in all_values(parameter) {
            let text = parameter.text_of(value);
            let back = parameter
                .value_of(&text)
                .unwrap_or_else(|| panic!("{}: {text}", declaration.id));
            assert_eq!(parameter.text_of(back), text, "{}", declaration.id);
            assert_eq!(
                parameter.value_of(&parameter.text_of(back)),
                Some(back),
                "{}",
                declaration.id
            );
            if parameter.steps().is_some() {
                assert!((back - value).abs() < 1e-6, "{}: {text}", declaration.id);
            }
            for other in [
                text.to_uppercase(),
                text.to_lowercase(),
                format!("  {text} "),
            ] {
                assert_eq!(
                    parameter.value_of(&other),
                    Some(back),
                    "{}: {other}",
                    declaration.id
                );
            }
        }
    });
}

/// What the host shows after a text was typed, or `None` if it was refused.
fn typed(id: &str, text: &str) -> Option<String> {
    let mut shown = None;
    each(|declaration, parameter| {
        if declaration.id == id {
            shown = parameter
                .value_of(text)
                .map(|value| parameter.text_of(value));
        }
    });
    shown
}

#[test]
fn what_a_musician_types_is_understood() {
    for (id, text, shown) in [
        ("length", "3 steps", "3 steps"),
        ("length", "3", "3 steps"),
        ("length", "1 steps", "1 step"),
        ("length", "auto", "Auto"),
        ("length", "0", "1 step"),
        ("length", "9999999999", "128 steps"),
        ("shifts", "endless", "Endless"),
        ("shifts", "12 shifts", "12 shifts"),
        ("shifts", "500", "128 shifts"),
        ("shift_by", "-3", "-3 steps"),
        ("shift_by", "−3 steps", "-3 steps"),
        ("offset", "+0.5", "0.5 steps"),
        ("offset", "1,25 steps", "1.25 steps"),
        ("offset", "-0.001", "0 steps"),
        ("target_tonic", "d", "D"),
        ("target_tonic", "Db", "D♭"),
        ("target_tonic", "C#", "D♭"),
        ("target_tonic", "E♭", "E♭"),
        ("target_tonic", "eb", "E♭"),
        ("target_tonic", "f sharp", "F♯"),
        ("cue_key", "bb3", "B♭3"),
        ("cue_key", "C#4", "D♭4"),
        ("cue_key", "60", "C4"),
        ("resulting", "Together", "Coincidences"),
        ("resulting", "coincidences", "Coincidences"),
        ("source_tonic", "auto", "Auto"),
        ("target_mode", "dorian", "Dorian"),
        ("target_mode", "major", "Ionian"),
        ("source_mode", "Lydian dominant", "Lydian dominant"),
        ("source_mode", "AUTO", "Auto"),
        ("steady_level", "-12 dB", "25.1 %"),
        ("steady_level", "0dB", "100 %"),
        ("steady_level", "-inf dB", "0 %"),
        ("copy3_level", "50 %", "50 %"),
        ("fold_amount", "50 percent", "50 %"),
        ("audition", "-18 dB", "-18 dB"),
        ("audition", "-18", "-18 dB"),
        ("audition", "−12,5db", "-12.5 dB"),
        ("audition", "off", "Off"),
        ("audition", "-99", "-60 dB"),
        ("audition", "6 dB", "0 dB"),
        ("grid", "1/16 Triplet", "1/16 triplet"),
        ("grid", "1/8T", "1/8 triplet"),
        ("motion", "build-up", "Build up"),
        ("hold", "ON", "On"),
        ("copy8_octave", "+1", "1 octave"),
    ] {
        assert_eq!(typed(id, text).as_deref(), Some(shown), "{text:?} for {id}");
    }
}

#[test]
fn tonics_and_keys_are_spelt_alike() {
    let (tonic, key) = ("target_tonic", "cue_key");
    for class in 0..12 {
        let name = PitchName::neutral(class).to_string();
        assert_eq!(typed(tonic, &name).as_ref(), Some(&name));
        let number = (60 + class).to_string();
        assert_eq!(typed(key, &number), Some(format!("{name}4")));
    }
}

#[test]
fn what_makes_no_sense_is_refused() {
    for (id, text) in [
        ("length", ""),
        ("length", "three"),
        ("length", "3 cycles"),
        ("length", "3 dB"),
        ("offset", "nan"),
        ("offset", "inf"),
        ("offset", "1e5"),
        ("offset", "--1"),
        ("width", "-12 dB"),
        ("audition", "loud"),
        ("audition", "50 %"),
        ("target_tonic", "H"),
        ("target_tonic", "Auto"),
        ("target_mode", "Dor"),
        ("hold", "maybe"),
        ("grid", "1/64"),
    ] {
        assert_eq!(typed(id, text), None, "{text:?} for {id}");
    }
}

#[test]
fn a_new_instance_plays_by_the_default_settings_of_the_engine() {
    let (parameters, _) = Parameters::new();
    assert_eq!(
        parameters.settings(&parameters.kept.current()),
        Settings::default()
    );
    assert!(!parameters.hold() && !parameters.thru() && !parameters.bypass());
}

#[test]
fn audition_is_off_to_begin_with_and_on_but_quiet_in_a_program_of_its_own() {
    assert_eq!(Parameters::new().0.audition(), None);
    assert_eq!(Parameters::of_program().0.audition(), Some(-10.0));
}

#[test]
fn reading_the_settings_never_touches_the_allocator() {
    let (parameters, _) = Parameters::new();
    let settings =
        nice_assert_no_alloc::assert_no_alloc(|| parameters.settings(&parameters.kept.current()));
    assert_eq!(settings, Settings::default());
}

/// What follows from parameters is worked out again when one has moved, and at no other time.
#[test]
fn every_move_of_every_parameter_is_counted_and_nothing_else_is() {
    let (parameters, _) = Parameters::new();
    parameters.each(|declaration, parameter| {
        let before = parameters.moves();
        let saved = parameter.saved();
        parameter.restore(&saved);
        assert_eq!(parameters.moves(), before, "{}", declaration.id);
        parameter.restore(&match saved {
            ParamValue::F32(value) => ParamValue::F32(value / 2.0 + 0.25),
            ParamValue::I32(value) => ParamValue::I32(value + 1),
            ParamValue::Bool(value) => ParamValue::Bool(!value),
            other => other,
        });
        assert_eq!(parameters.moves(), before + 1, "{}", declaration.id);
    });
}

#[test]
fn every_parameter_says_what_is_heard_in_one_sentence() {
    each(|declaration, _| {
        let sentence = describe(&declaration.id);
        let opens = sentence.starts_with(|first: char| first.is_ascii_uppercase());
        assert!(
            opens && sentence.ends_with('.'),
            "{}: {sentence}",
            declaration.id
        );
    });
    assert_eq!(describe("no such parameter"), "");
}

#[test]
fn the_places_of_modes_and_other_options_stay_what_they_are() {
    // VST3 and CLAP lanes hold places in these lists: append only.
    let mut lists = String::new();
    each(|declaration, _| {
        if let procession::declaration::Kind::Choice(list) = &declaration.kind {
            let ids: Vec<_> = list.options.iter().map(|option| option.id).collect();
            let _ = writeln!(lists, "{}: {}", declaration.id, ids.join(" "));
        }
    });
    let modes = "ionian dorian phrygian lydian mixolydian aeolian locrian melodic_minor \
        dorian_flat_2 lydian_augmented lydian_dominant mixolydian_flat_6 locrian_natural_2 altered \
        harmonic_minor harmonic_major major_pentatonic minor_pentatonic whole_tone \
        octatonic_half_whole octatonic_whole_half limited_transposition_3 limited_transposition_4 \
        limited_transposition_5 limited_transposition_6 limited_transposition_7 chromatic custom";
    let tonics = "c c_sharp d e_flat e f f_sharp g a_flat a b_flat b";
    let expected = format!(
        "grid: quarter eighth eighth_triplet sixteenth sixteenth_triplet thirty_second\n\
         motion: drift jump build_up\n\
         copies_move: fanned together in_turn\n\
         advance: counted on_cue\n\
         growth: off fill lengthen\n\
         growth_order: forward backward strong_beats_first low_to_high high_to_low centre_out scattered\n\
         fold: off by_degree nearest\n\
         source_tonic: auto {tonics}\n\
         source_mode: auto {modes}\n\
         target_tonic: {tonics}\n\
         target_mode: {modes}\n\
         channels: one_each all_on_one\n\
         resulting: off top bottom together\n\
         begin_on: now beat bar\n\
         end_on: now cycle\n\
         voice_with: steady all\n\
         steady_mallet: wood metal soft\n\
         resulting_mallet: wood metal soft\n\
         copy1_mallet: wood metal soft\n\
         copy2_mallet: wood metal soft\n\
         copy3_mallet: wood metal soft\n\
         copy4_mallet: wood metal soft\n\
         copy5_mallet: wood metal soft\n\
         copy6_mallet: wood metal soft\n\
         copy7_mallet: wood metal soft\n\
         copy8_mallet: wood metal soft\n\
         listen_to: notes voice\n"
    );
    assert_eq!(lists, expected);
}

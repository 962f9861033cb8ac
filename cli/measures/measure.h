// The shape of a measure and the table of all. One table of fields feeds the job reader, `--help`,
// README and the schema; one table of quantities feeds claims and the page.
#pragma once

#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "capture/bench.h"
#include "capture/device/fall_watch.h"
#include "capture/fault.h"
#include "capture/recording.h"
#include "capture/tone/tone.h"
#include "cli/measures/job.h"
#include "cli/measures/result.h"

namespace assay::cli {

enum class FieldType {
    number,
    text,
    numbers,
    choice,
    names,  // one text, or a list of texts
    rows,   // a list of tables of numbers, `choices` their keys; the first rises, the last may be left out
};

struct Field {
    std::string name;
    FieldType type = FieldType::number;
    std::string unit{};          // "Hz", "dBFS", "" for none
    std::string default_text{};  // as help prints it; "" where there is none
    double minimum = 0.0;        // numbers; both ends allowed
    double maximum = 0.0;
    std::vector<std::string> choices{};
    bool required = false;
    std::string help{};
};

struct QuantityEntry {
    std::string
        name;  // "power_at_{limit}_percent_w": {limit} stands for each requested limit, 0.1 written 0_1
    std::string unit;
    bool per_load = true;
    std::string help{};  // plain words, for the page of a buyer
};

/// The tone as played, and its recording. Kept in the session, so that a run can be verified and resumed.
struct Take {
    capture::Tone tone{};
    capture::Recording recording{};
};

/// Another test of the job, as a measure that plays nothing itself sees it.
struct NamedTest {
    const Test* test = nullptr;
    std::span<const Take> takes{};
};

struct ReadTakes;  // jig_take.h

/// What a measure knows when it plans or evaluates: the job's test on this bench.
struct Setup {
    const capture::Bench* bench = nullptr;
    const Test* test = nullptr;
    double tone_rate_hz = 96000.0;
    /// The test of an id, with the takes that it has by now; empty where no test can be asked for.
    std::function<std::optional<NamedTest>(const std::string& id)> named{};
    /// Folder that relative file names of the job (`from_file`) and the bench (`match`) start from.
    std::filesystem::path folder{};
    /// A bench where a tone's answer is known before the next one is played, so that a measure may go on from
    /// what it has heard. False for tones that are written to files, and for recordings made elsewhere.
    bool live = false;
    /// Recordings that another test of the same job and bench has read already; null: each is read anew.
    /// Numbers are the same either way.
    std::shared_ptr<ReadTakes> read{};
    std::string date{};  // of the session, "2026-11-26"; empty where there is none
};

struct Measure {
    std::string name;
    std::string summary{};
    bool plays = true;      // false: evaluates other takes, or readings by hand
    bool in_watts = false;  // its numbers are watts: nothing for a unit that has none
    std::vector<Field> fields{};
    std::vector<QuantityEntry> quantities{};
    /// Checks that need the bench: levels against its limits. A fault names the field by `text`'s first word.
    std::function<capture::Result<void>(const Setup&)> check{};
    /// The next tone to play, or none when done.
    std::function<std::optional<capture::Tone>(const Setup&, std::span<const Take>)> next{};
    /// Live: when the capture may end before its tone. Left out: never.
    std::function<std::optional<capture::FallEnd>(const Setup&)> end_early{};
    /// Pure: live, offline, `verify` and `watch` all call it.
    std::function<TestResult(const Setup&, std::span<const Take>)> evaluate{};
};

/// Every measure, in the order of the manual.
const std::vector<Measure>& measure_table();
const Measure* find_measure(const std::string& name);

/// Fields that every measure with a tone has (frequency_hz, the level fields, ...) and the meter readings
/// that travel with any test (supply_idle_v, supply_loaded_v, supply_current_a, dc_offset_mv,
/// case_temperature_c, ...).
const std::vector<Field>& common_fields();
const std::vector<Field>& reading_fields();

}  // namespace assay::cli

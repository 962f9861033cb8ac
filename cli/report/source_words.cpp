#include "cli/report/source_words.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <string_view>

#include "cli/files/plain_text.h"
#include "cli/report/number_words.h"

namespace assay::cli {
namespace {

struct Row {
    std::string_view kind;    // how the id begins
    std::string_view ending;  // how it ends; empty: the name is all that follows
    std::string_view words;
    std::string_view mend;
};

// The mends are common practice, no source.
constexpr auto word_rows = std::to_array<Row>({
    {"input:", ":scale", "input scale", "calibrate it against a better meter"},
    {"input:", ":meter-digits", "the last digit of the meter that set the input scale",
     "calibrate nearer to the top of the meter's range"},
    {"input:", ":own-distortion", "the recorder's own distortion",
     "record a loopback so that it is known, or use a cleaner sound card"},
    {"input:", ":response", "the input's response, from the frequency of its calibration to this one",
     "run `assay calibrate loopback`"},
    {"input:", ":loopback", "the loopback that was divided out", "run `assay calibrate loopback` again"},
    {"meter:", "", "the meter's accuracy", "use a more accurate meter"},
    {"load:", ":resistance", "load resistance", "measure it with four wires"},
    {"test:", ":noise", "noise in the recording",
     "use less attenuation before the recorder, or longer steps"},
    {"test:", ":hum", "hum of the idle channel, on the tone",
     "choose frequencies beside the mains' multiples"},
    {"test:", ":meter-digits", "the last digit of the meter", "read nearer to the top of the meter's range"},
    {"test:", ":supply-idle-v", "the reading of the supply's idle volts", "use a finer meter"},
    {"test:", ":supply-loaded-v", "the reading of the supply's volts under load", "use a finer meter"},
    {"test:", ":interpolation", "the distance between level steps",
     "use finer steps near the limit (step_db)"},
    {"test:", ":repeatability", "the spread between repeats",
     "let the unit warm up and keep its supply steady"},
    {"test:", ":supply-volts", "the readings of the supply's volts", "use a finer meter"},
    {"test:", ":between-readings", "what the supply did between two readings", "read it more often"},
    {"test:", ":supply-crossing", "the distance between readings of the supply",
     "read it more often near its end"},
    {"test:", ":output-end", "how finely the end of the output is read", ""},
    {"test:", ":time", "how finely the end of the output is read", ""},
    {"test:", ":crest", "the spread of the crest factor along the log", ""},
    {"test:", ":gain-drift", "gain that drifted between the two tests",
     "let the unit warm up, and touch nothing in between"},
    {"test:", ":quasi-peak", "how quasi-peak readings of unit and bench add up",
     "lower the noise of the bench"},
    {"test:", ":curve", "the curve between the frequencies that were measured", ""},
    {"test:", ":ends", "what the output did before the first row of the log and after the last", ""},
    {"test:", ":method", "what the method itself does to a curve's shape", ""},
    {"test:", ":scatter", "scatter of the curves", "raise the level, and keep the room quiet"},
    {"test:", ":model", "the choice of the driver's model",
     "begin at a third of fs, with the driver held firmly"},
    {"test:", ":known-resistor", "the known resistor of the match", "measure it with four wires"},
    {"test:", ":box-volume", "volume of the test box", "fill it with water or grains from a measure"},
});

struct Whole {
    std::string_view id;
    std::string_view words;
    std::string_view mend;
};

constexpr auto wholes = std::to_array<Whole>({
    {"driver:area", "area of the cone",
     "measure its diameter, mid-surround to mid-surround, across several ways"},
    {"driver:dc-resistance", "the meter's coil resistance", "measure it with four wires"},
    {"scale:mass", "the scale that weighed the mass", "use a finer scale"},
    {"air:temperature", "temperature of the air", "read a thermometer beside the driver"},
    {"air:pressure", "pressure of the air", "give pressure_hpa as a station at your height reads it"},
    {"air:humidity", "humidity of the air", "read a hygrometer beside the driver"},
    {"jig:series", "the jig's series resistor", "measure it with four wires"},
    {"supply:current", "the readings of the supply's current", "use a shunt and a good meter"},
    {"sound:clock", "the player's clock", ""},
    {"sound:recorder-clock", "the recorder's clock", ""},
});

/// The name inside an id of this row, none if the id is of another kind.
std::optional<std::string> name_in(const std::string& id, const Row& row) {
    if (id.size() <= row.kind.size() + row.ending.size()) return std::nullopt;
    if (!id.starts_with(row.kind) || !id.ends_with(row.ending)) return std::nullopt;
    return id.substr(row.kind.size(), id.size() - row.kind.size() - row.ending.size());
}

bool one_of_several(std::string_view kind, const capture::Bench& bench) {
    if (kind == "input:") return bench.inputs.size() > 1;
    if (kind == "meter:") return bench.meters.size() > 1;
    if (kind == "load:") return bench.loads.size() > 1;
    return false;
}

/// A scale that no meter has set yet is a guess, whatever the meter.
bool guessed_scale(const std::string& name, const Row& row, const capture::Bench& bench) {
    if (row.kind != "input:" || row.ending != ":scale") return false;
    const auto input = std::find_if(bench.inputs.begin(), bench.inputs.end(),
                                    [&](const capture::Input& one) { return one.name == name; });
    return input != bench.inputs.end() && !input->calibrated_at_hz;
}

}  // namespace

SourceWords source_words(const std::string& source_id, const capture::Bench& bench) {
    for (const Whole& whole : wholes) {
        if (source_id == whole.id) return {std::string(whole.words), std::string(whole.mend)};
    }
    for (const Row& row : word_rows) {
        const auto name = name_in(source_id, row);
        if (!name) continue;
        SourceWords found{std::string(row.words), std::string(row.mend)};
        if (guessed_scale(*name, row, bench))
            found.mend = "calibrate it by a meter (`assay calibrate input`)";
        if (one_of_several(row.kind, bench)) found.words += " of " + visible_text(*name, 60);
        return found;
    }
    return {visible_text(source_id, 100), {}};
}

std::string what_limits(const analysis::Quantity& quantity, const capture::Bench& bench) {
    if (!(quantity.expanded_uncertainty() > 0.0)) {
        return "nothing is stated of its uncertainty; state tolerances or meters in the bench file";
    }
    const auto largest = std::max_element(
        quantity.contributions.begin(), quantity.contributions.end(),
        [&](const auto& a, const auto& b) { return a.second * a.second < b.second * b.second; });
    const double share_percent = 100.0 * quantity.variance_share(largest->first);
    const SourceWords source = source_words(largest->first, bench);
    const std::string share =
        share_percent >= 99.5 ? "nearly all" : std::to_string(std::lround(share_percent)) + " %";
    std::string text = source.words + " gives " + share + " of " + relative_uncertainty_text(quantity);
    if (!source.mend.empty()) text += "; " + source.mend;
    return text;
}

}  // namespace assay::cli

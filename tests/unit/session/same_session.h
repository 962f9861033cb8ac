// Two sessions compared in every member.
#pragma once

#include <algorithm>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "cli/files/session/session.h"

namespace assay::cli {

// Each struct is taken apart into all of its members: a member that is added and not compared here does not
// compile, so that it cannot be forgotten in the file either.

bool same(const analysis::Quantity& a, const analysis::Quantity& b);
bool same(const std::vector<capture::RelativeDoubt>& a, const std::vector<capture::RelativeDoubt>& b);
bool same(const capture::Output& a, const capture::Output& b);
bool same(const capture::Input& a, const capture::Input& b);
bool same(const capture::Meter& a, const capture::Meter& b);
bool same(const capture::Load& a, const capture::Load& b);
bool same(const capture::ImpedanceJig& a, const capture::ImpedanceJig& b);
bool same(const Warning& a, const Warning& b);
bool same(const capture::Bench& a, const capture::Bench& b);
bool same(const capture::Segment& a, const capture::Segment& b);
bool same(const Take& a, const Take& b);
bool same(const analysis::Absent& a, const analysis::Absent& b);
bool same(const analysis::Curve& a, const analysis::Curve& b);
bool same(const Numbers& a, const Numbers& b);
bool same(const capture::Fault& a, const capture::Fault& b);
bool same(const TestRecord& a, const TestRecord& b);
bool same(const JudgedClaim& a, const JudgedClaim& b);
bool same(const Unit& a, const Unit& b);
bool same(const RatingStatement& a, const RatingStatement& b);
bool same(const Session& a, const Session& b);
template <class T>
bool same(const std::optional<T>& a, const std::optional<T>& b);
template <class T>
bool same(const std::pair<std::string, T>& a, const std::pair<std::string, T>& b);

inline bool same(const analysis::Quantity& a, const analysis::Quantity& b) {
    const auto& [value, unit, contributions] = a;
    return value == b.value && unit == b.unit && contributions == b.contributions;
}
inline bool same(const std::vector<capture::RelativeDoubt>& a, const std::vector<capture::RelativeDoubt>& b) {
    return std::equal(a.begin(), a.end(), b.begin(), b.end(), [](const auto& left, const auto& right) {
        const auto& [source, relative] = left;
        return source == right.source_id && relative == right.relative;
    });
}
inline bool same(const capture::Output& a, const capture::Output& b) {
    const auto& [name, channel, volts, maximum_volts, maximum_dbfs, inverted] = a;
    return name == b.name && channel == b.channel && volts == b.volts_at_full_scale &&
           maximum_volts == b.maximum_volts && maximum_dbfs == b.maximum_dbfs && inverted == b.inverted;
}
inline bool same(const capture::Input& a, const capture::Input& b) {
    const auto& [name, channel, volts, attenuation, doubts, at_hz, clean, thd, high_pass, inverted, role,
                 threshold, response, driven_by] = a;
    return name == b.name && channel == b.channel && volts == b.volts_at_full_scale &&
           attenuation == b.attenuation && same(doubts, b.scale_doubts) && at_hz == b.calibrated_at_hz &&
           clean == b.clean_up_to_dbfs && thd == b.own_thd_percent && high_pass == b.high_pass_hz &&
           inverted == b.inverted && role == b.role && threshold == b.threshold_dbfs &&
           response == b.response_file && driven_by == b.driven_by;
}
inline bool same(const capture::Meter& a, const capture::Meter& b) {
    const auto& [name, accuracy, digits, resolution, ac_max, true_rms] = a;
    return name == b.name && accuracy == b.accuracy_percent && digits == b.digits &&
           resolution == b.resolution_v && ac_max == b.ac_max_hz && true_rms == b.true_rms;
}
inline bool same(const capture::Load& a, const capture::Load& b) {
    const auto& [name, ohm, doubts, rated, rated_bare, tempco, inductance, driven_by, plus, minus, bare] = a;
    return name == b.name && ohm == b.resistance_ohm && same(doubts, b.resistance_doubts) &&
           rated == b.rated_power_w && rated_bare == b.rated_power_no_heatsink_w &&
           tempco == b.tempco_ppm_per_k && inductance == b.inductance_uh && driven_by == b.driven_by &&
           plus == b.plus && minus == b.minus && bare == b.bare_input;
}
inline bool same(const capture::ImpedanceJig& a, const capture::ImpedanceJig& b) {
    const auto& [topology, series, doubts, generator, driver, lead, resistance, match] = a;
    return topology == b.topology && series == b.series_ohm && same(doubts, b.series_doubts) &&
           generator == b.generator_side && driver == b.driver_side && lead == b.lead_ohm &&
           resistance == b.input_resistance_ohm && match == b.match_file;
}
inline bool same(const Warning& a, const Warning& b) {
    const auto& [code, text, advice] = a;
    return code == b.code && text == b.text && advice == b.advice;
}
template <class T>
bool all_same(const std::vector<T>& a, const std::vector<T>& b) {
    return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                      [](const T& x, const T& y) { return same(x, y); });
}
template <class T>
inline bool same(const std::optional<T>& a, const std::optional<T>& b) {
    return a.has_value() == b.has_value() && (!a || same(*a, *b));
}
template <class T>
inline bool same(const std::pair<std::string, T>& a, const std::pair<std::string, T>& b) {
    return a.first == b.first && same(a.second, b.second);
}
inline bool same(const capture::Bench& a, const capture::Bench& b) {
    const auto& [source, playback, record, rate, shared, ground, outputs, inputs, meters, loads, jig,
                 simulated] = a;
    // The settings of the simulated bench are compared through their own list of names, in SimulatedSettings
    // below.
    (void)simulated;
    return source == b.source && playback == b.playback_device && record == b.record_device &&
           rate == b.sample_rate_hz && shared == b.shared_clock && ground == b.ground &&
           all_same(outputs, b.outputs) && all_same(inputs, b.inputs) && all_same(meters, b.meters) &&
           all_same(loads, b.loads) && same(jig, b.jig);
}
inline bool same(const capture::Segment& a, const capture::Segment& b) {
    const auto& [first, frames, law, level, fade, role] = a;
    if (law.index() != b.law.index()) return false;
    bool same_law = false;
    if (const auto* sine = std::get_if<capture::SteadySine>(&law)) {
        const auto& [frequency, phase] = *sine;
        const auto& other = std::get<capture::SteadySine>(b.law);
        same_law = frequency == other.frequency_hz && phase == other.phase_rad;
    } else if (const auto* multitone = std::get_if<capture::Multitone>(&law)) {
        const auto& [period, start, stop, per_octave] = *multitone;
        const auto& other = std::get<capture::Multitone>(b.law);
        same_law = period == other.period_s && start == other.start_hz && stop == other.stop_hz &&
                   per_octave == other.lines_per_octave;
    } else if (const auto* sweep = std::get_if<capture::LogSweep>(&law)) {
        const auto& [start, growth] = *sweep;
        const auto& other = std::get<capture::LogSweep>(b.law);
        same_law = start == other.start_hz && growth == other.growth_s;
    } else if (const auto* pair = std::get_if<capture::SinePair>(&law)) {
        const auto& [low, high, share] = *pair;
        const auto& other = std::get<capture::SinePair>(b.law);
        same_law = low == other.low_hz && high == other.high_hz && share == other.low_share;
    } else if (const auto* burst = std::get_if<capture::ToneBurst>(&law)) {
        const auto& [frequency, on, off, off_db] = *burst;
        const auto& other = std::get<capture::ToneBurst>(b.law);
        same_law = frequency == other.frequency_hz && on == other.on_s && off == other.off_s &&
                   off_db == other.off_db;
    } else if (const auto* noise = std::get_if<capture::ShapedNoise>(&law)) {
        const auto& other = std::get<capture::ShapedNoise>(b.law);
        same_law = noise->period_s == other.period_s && noise->crest_factor_db == other.crest_factor_db;
    } else {
        const auto& [from, to] = std::get<capture::Chirp>(law);
        const auto& other = std::get<capture::Chirp>(b.law);
        same_law = from == other.from_hz && to == other.to_hz;
    }
    return same_law && first == b.first_frame && frames == b.frames && level == b.level_dbfs &&
           fade == b.fade_frames && role == b.role;
}
inline bool same(const Take& a, const Take& b) {
    const auto& [tone, recording] = a;
    const auto& [rate, frames, segments] = tone;
    const auto& [path, recorded_rate, channels, recorded_frames, format, bits, floating, flags] = recording;
    return rate == b.tone.rate_hz && frames == b.tone.frames && all_same(segments, b.tone.segments) &&
           path.filename() == b.recording.path.filename() && recorded_rate == b.recording.rate_hz &&
           channels == b.recording.channels && recorded_frames == b.recording.frames &&
           format == b.recording.format && bits == b.recording.bits && floating == b.recording.floating &&
           flags == b.recording.flags;
}
inline bool same(const analysis::Absent& a, const analysis::Absent& b) {
    const auto& [code, text, advice] = a;
    return code == b.code && text == b.text && advice == b.advice;
}
inline bool same(const analysis::Curve& a, const analysis::Curve& b) {
    const auto& [columns] = a;
    return std::equal(columns.begin(), columns.end(), b.columns.begin(), b.columns.end(),
                      [](const analysis::Column& left, const analysis::Column& right) {
                          const auto& [name, values] = left;
                          return name == right.name && values == right.values;
                      });
}
inline bool same(const Numbers& a, const Numbers& b) {
    const auto& [quantities, absent, curves, warnings] = a;
    return all_same(quantities, b.quantities) && all_same(absent, b.absent) && all_same(curves, b.curves) &&
           all_same(warnings, b.warnings);
}
inline bool same(const capture::Fault& a, const capture::Fault& b) {
    const auto& [kind, text, at_s, mend] = a;
    return kind == b.kind && text == b.text && at_s == b.at_s && mend == b.mend;
}
inline bool same(const TestRecord& a, const TestRecord& b) {
    const auto& [id, takes, result] = a;
    const auto& [measure, loads, whole, conditions, fault] = result;
    return id == b.id && all_same(takes, b.takes) && measure == b.result.measure &&
           all_same(loads, b.result.loads) && same(whole, b.result.whole) &&
           conditions == b.result.conditions && same(fault, b.result.fault);
}
inline bool same(const JudgedClaim& a, const JudgedClaim& b) {
    const auto& [text, test, load, quantity, verdict, measured, limit, reason] = a;
    const auto& [at_least, at_most] = limit;
    return text == b.text && test == b.test && load == b.load && quantity == b.quantity &&
           verdict == b.verdict && same(measured, b.measured) && at_least == b.limit.at_least &&
           at_most == b.limit.at_most && reason == b.reason;
}
inline bool same(const Unit& a, const Unit& b) {
    const auto& [kind, maker, model, serial, condition, repairs, note, photographs, minimum, minimum_bridged,
                 stage] = a;
    return kind == b.kind && maker == b.maker && model == b.model && serial == b.serial &&
           condition == b.condition && repairs == b.repairs && note == b.sellers_note &&
           photographs == b.photographs && minimum == b.minimum_load_ohm &&
           minimum_bridged == b.minimum_bridged_load_ohm && stage == b.output_stage;
}
inline bool same(const RatingStatement& a, const RatingStatement& b) {
    const auto& [basis, watts, channels, minutes, pre_w, held] = a;
    return basis == b.basis && watts == b.rated_power_w && channels == b.channels &&
           minutes == b.preconditioning_minutes && pre_w == b.preconditioning_w && held == b.held_minutes;
}
inline bool same(const Session& a, const Session& b) {
    const auto& [version, created, number, simulated, unit, bench, tests, claims, rating] = a;
    return version == b.program_version && created == b.created && number == b.number &&
           simulated == b.simulated && same(unit, b.unit) && same(bench, b.bench) &&
           all_same(tests, b.tests) && all_same(claims, b.claims) && same(rating, b.rating);
}

}  // namespace assay::cli

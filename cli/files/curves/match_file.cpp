#include "cli/files/curves/match_file.h"

#include <cmath>

#include "analysis/units.h"
#include "cli/files/curves/record_checks.h"
#include "cli/files/session/json_archive.h"
#include "cli/files/session/steady_number.h"
#include "cli/files/toml/toml_tree.h"

namespace assay::cli {

namespace {

constexpr const char* match_schema = "assay-match-1";

/// What the file holds, in the units of its keys.
struct MatchRecord {
    std::string schema{};
    std::string generator_side{};
    std::string driver_side{};
    double generator_volts_per_unit = 0.0;
    double driver_volts_per_unit = 0.0;
    std::vector<double> frequency_hz{};
    std::vector<double> magnitude{};
    std::vector<double> phase_deg{};
    std::vector<double> standard_uncertainty{};
    std::vector<std::string> doubt_source{};
    std::vector<std::vector<double>> doubt_magnitude_percent{};
    std::vector<std::vector<double>> doubt_phase_deg{};
};

template <class Archive, class Object>
requires std::is_same_v<std::remove_const_t<Object>, MatchRecord>
void describe(Archive& archive, Object& record) {
    archive.field("schema", record.schema);
    archive.field("generator_side", record.generator_side);
    archive.field("driver_side", record.driver_side);
    archive.field("generator_volts_per_unit", record.generator_volts_per_unit);
    archive.field("driver_volts_per_unit", record.driver_volts_per_unit);
    archive.field("frequency_hz", record.frequency_hz);
    archive.field("magnitude", record.magnitude);
    archive.field("phase_deg", record.phase_deg);
    archive.field("standard_uncertainty", record.standard_uncertainty);
    archive.field("doubt_source", record.doubt_source);
    archive.field("doubt_magnitude_percent", record.doubt_magnitude_percent);
    archive.field("doubt_phase_deg", record.doubt_phase_deg);
}

/// What is wrong with the numbers, empty if nothing is.
std::string fault_of(const MatchRecord& record) {
    const std::size_t count = record.frequency_hz.size();
    if (auto wrong = wrong_schema(record.schema, match_schema); !wrong.empty()) return wrong;
    if (count == 0) return "frequency_hz is empty";
    if (record.magnitude.size() != count || record.phase_deg.size() != count ||
        record.standard_uncertainty.size() != count)
        return "frequency_hz, magnitude, phase_deg and standard_uncertainty are not equally long";
    if (record.doubt_magnitude_percent.size() != record.doubt_source.size() ||
        record.doubt_phase_deg.size() != record.doubt_source.size())
        return "doubt_source, doubt_magnitude_percent and doubt_phase_deg are not equally long";
    for (std::size_t s = 0; s < record.doubt_source.size(); ++s) {
        if (record.doubt_magnitude_percent[s].size() != count || record.doubt_phase_deg[s].size() != count)
            return "a list of doubts is not as long as frequency_hz";
    }
    if (!frequencies_rise(record.frequency_hz)) return frequencies_do_not_rise;
    for (std::size_t i = 0; i < count; ++i) {
        if (!(record.magnitude[i] > 0.0) || !(record.standard_uncertainty[i] >= 0.0))
            return "magnitude must be above 0 and standard_uncertainty not below";
    }
    return {};
}

}  // namespace

std::string match_text(const InputMatch& match) {
    MatchRecord record{match_schema, match.generator_side, match.driver_side, match.generator_volts_per_unit,
                       match.driver_volts_per_unit};
    for (const MatchPoint& point : match.points) {
        record.frequency_hz.push_back(point.frequency_hz);
        record.magnitude.push_back(steady_number(std::abs(point.ratio)));
        record.phase_deg.push_back(steady_number(std::arg(point.ratio) * analysis::degrees));
        record.standard_uncertainty.push_back(std::sqrt(point.variance));
    }
    for (const auto& [source, changes] : match.relative_doubts) {
        record.doubt_source.push_back(source);
        auto& magnitudes = record.doubt_magnitude_percent.emplace_back();
        auto& phases = record.doubt_phase_deg.emplace_back();
        for (const std::complex<double>& change : changes) {
            magnitudes.push_back(steady_number(100.0 * change.real()));
            phases.push_back(steady_number(change.imag() * analysis::degrees));
        }
    }
    return record_text(record);
}

capture::Result<InputMatch> parse_match(const std::string& text, const std::string& name) {
    const auto refuse = [&](const std::string& what) {
        return capture::fail(capture::FaultKind::bad_input_file, name + ": " + what,
                             "make it again with a test of measure match");
    };
    MatchRecord record;
    if (const auto wrong = read_record(text, record)) return refuse(*wrong);
    if (const std::string fault = fault_of(record); !fault.empty()) return refuse(fault);
    InputMatch match{record.generator_side, record.driver_side, record.generator_volts_per_unit,
                     record.driver_volts_per_unit};
    for (std::size_t i = 0; i < record.frequency_hz.size(); ++i) {
        match.points.push_back({record.frequency_hz[i],
                                std::polar(record.magnitude[i], record.phase_deg[i] / analysis::degrees),
                                record.standard_uncertainty[i] * record.standard_uncertainty[i]});
    }
    for (std::size_t s = 0; s < record.doubt_source.size(); ++s) {
        auto& changes = match.relative_doubts[record.doubt_source[s]];
        for (std::size_t i = 0; i < match.points.size(); ++i) {
            changes.emplace_back(record.doubt_magnitude_percent[s][i] / 100.0,
                                 record.doubt_phase_deg[s][i] / analysis::degrees);
        }
    }
    return match;
}

capture::Result<InputMatch> read_match(const std::filesystem::path& path) {
    const auto text = read_toml_text(path);
    if (!text) return tl::unexpected<capture::Fault>(text.error());
    return parse_match(*text, path.filename().string());
}

}  // namespace assay::cli

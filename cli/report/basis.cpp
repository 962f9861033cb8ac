#include "cli/report/basis.h"

#include <vector>

#include "cli/files/plain_text.h"
#include "cli/report/number_words.h"
#include "cli/report/quantity_words.h"

namespace assay::cli {
namespace {

std::string supply_text(const TestResult& result) {
    const auto idle = number_condition(result, "supply_idle_v");
    const auto loaded = number_condition(result, "supply_loaded_v");
    if (loaded && idle) return stated_text(*loaded, "V") + " supply (" + stated_text(*idle, "V") + " idle)";
    if (loaded) return stated_text(*loaded, "V") + " supply under load";
    if (idle) return stated_text(*idle, "V") + " supply (idle; under load not stated)";
    return "supply voltage not stated";
}

std::string one_load_text(const Session& session, const TestResult& result, const std::string& name) {
    const capture::Load* load = find_load(session.bench, name);
    auto ohms = number_condition(result, "load_ohm." + name);
    if (!ohms && load != nullptr) ohms = load->resistance_ohm;
    if (!ohms) return "load not stated";
    return stated_text(*ohms, "ohm") + (load != nullptr && load->bridged() ? " bridged" : "");
}

std::string load_text(const Session& session, const TestResult& result, const std::string& name) {
    if (!name.empty()) return one_load_text(session, result, name);
    std::string text;
    for (const auto& [load, numbers] : result.loads) {
        text += (text.empty() ? "" : " and ") + one_load_text(session, result, load);
    }
    return text.empty() ? "load not stated" : text;
}

std::string channels_text(const TestResult& result) {
    const auto stated = number_condition(result, "channels_driven");
    const double channels = stated.value_or(static_cast<double>(result.loads.size()));
    if (channels < 1.0) return "channels driven not stated";
    return stated_text(channels, {}) + (channels == 1.0 ? " channel driven" : " channels driven");
}

}  // namespace

std::optional<double> number_condition(const TestResult& result, const std::string& name) {
    for (const auto& [key, value] : result.conditions) {
        if (key != name) continue;
        if (const auto* number = std::get_if<double>(&value)) return *number;
    }
    return std::nullopt;
}

std::string text_condition(const TestResult& result, const std::string& name, const std::string& otherwise) {
    for (const auto& [key, value] : result.conditions) {
        if (key != name) continue;
        if (const auto* text = std::get_if<std::string>(&value)) return *text;
    }
    return otherwise;
}

std::optional<double> tone_frequency_hz(const TestRecord& record) {
    if (const auto stated = number_condition(record.result, "frequency_hz")) return stated;
    for (const Take& take : record.takes) {
        for (const capture::Segment& segment : take.tone.segments) {
            const auto* sine = std::get_if<capture::SteadySine>(&segment.law);
            if (segment.role == capture::SegmentRole::step && sine != nullptr) return sine->frequency_hz;
        }
    }
    return std::nullopt;
}

bool is_repeated_total(const TestResult& result, const std::string& quantity) {
    return result.loads.size() == 1 && quantity.starts_with("total_power_");
}

bool is_power(const analysis::Quantity& quantity) {
    return quantity.unit == "W";
}

std::string basis_text(const Session& session, const TestRecord& record, const std::string& load,
                       const std::string& quantity) {
    const TestResult& result = record.result;
    const auto frequency = tone_frequency_hz(record);
    const auto crest_db = number_condition(result, "crest_factor_asked_db");
    if (crest_db) {
        return supply_text(result) + ", " + load_text(session, result, load) +
               ", music-like noise with a crest factor of " + stated_text(*crest_db, "dB") + ", " +
               channels_text(result);
    }
    std::string text = supply_text(result) + ", " + load_text(session, result, load) + ", " +
                       (frequency ? stated_text(*frequency, "Hz") : "frequency not stated");
    const std::string limit = limit_words(quantity, text_condition(result, "limit_on", "thd"));
    const Numbers* numbers = load.empty() ? &result.whole : result.load(load);
    const analysis::Quantity* distortion = numbers != nullptr ? numbers->find("thd_percent") : nullptr;
    const bool in_bursts = result.measure == "burst-power";
    const auto limit_percent = number_condition(result, "limit_percent");
    if (in_bursts && limit_percent) {
        text += ", " + stated_text(*limit_percent, "%") + " THD inside the burst";
    } else if (!limit.empty()) {
        text += ", " + limit;
    } else if (quantity == "clip_onset_w") {
        text += ", where clipping begins";
    } else if (distortion != nullptr) {
        text += ", " + value_text(*distortion) + " THD";
    } else if (const std::string at = text_condition(result, "limit_told_by", {}); !at.empty()) {
        text += ", limit told by: " + visible_text(at, 80);
    } else {
        text += ", THD not stated";
    }
    text += ", " + channels_text(result);
    const auto on_ms = number_condition(result, "on_ms");
    return in_bursts && on_ms ? text + ", bursts of " + stated_text(*on_ms, "ms")
                              : text + ", continuous sine";
}

}  // namespace assay::cli

#include "cli/files/job/job_supply.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "cli/files/toml/nearest.h"
#include "cli/measures/readings.h"

namespace assay::cli {

namespace {

constexpr const char* voltages_field = "supply_voltages_v";
constexpr const char* set_field = "supply_set_v";
constexpr double same_supply = 0.05;

}  // namespace

std::string id_at_supply(const std::string& id, double supply_v) {
    std::string volts = fmt::format("{:g}", supply_v);
    std::replace(volts.begin(), volts.end(), '.', '_');
    return id + "-" + volts + "v";
}

void check_asked(RawTest& raw) {
    std::vector<std::string> known;
    for (const AskedReading& reading : askable_readings()) known.emplace_back(reading.field);
    for (const std::string& name : raw.test.names("ask")) {
        if (std::find(known.begin(), known.end(), name) == known.end()) {
            raw.table.complain("ask", in_quotes(name) + " is no reading that can be asked for",
                               suggestion(name, known));
        } else if (raw.test.fields.contains(name)) {
            raw.table.complain(name, name + " is stated and asked for", "take it out here or of ask");
        }
    }
    if (raw.measure != nullptr && !has_loaded_moment(raw.measure->name)) {
        for (const AskedReading& reading : asked_of(raw.test, ReadingMoment::loaded)) {
            raw.table.complain("ask",
                               fmt::format("{} cannot be asked for in a test of measure {}: no steady tone "
                                           "sounds while the meter is read",
                                           reading.field, in_quotes(raw.measure->name)),
                               "ask for it in a test of clipping-power or distortion");
        }
    }
    const bool varied = raw.test.fields.contains(voltages_field);
    if (varied && raw.test.fields.contains(set_field)) {
        raw.table.complain(set_field, "supply_set_v stands beside supply_voltages_v", "take one of them out");
    }
    if ((varied || raw.test.fields.contains(set_field)) && raw.test.fields.contains("supply_idle_v")) {
        raw.table.complain("supply_idle_v", "supply_idle_v is asked for when the supply is set",
                           "take it out");
    }
}

std::vector<RawTest> spread_over_supplies(std::vector<RawTest> tests) {
    std::vector<RawTest> all;
    for (RawTest& raw : tests) {
        const auto voltages = raw.test.numbers(voltages_field);
        if (!voltages) {
            all.push_back(std::move(raw));
            continue;
        }
        raw.test.fields.erase(voltages_field);
        for (const double supply_v : *voltages) {
            RawTest one = raw;
            one.test.id = id_at_supply(raw.test.id, supply_v);
            one.test.fields[set_field] = supply_v;
            one.test.lines[set_field] = raw.table.line(voltages_field);
            if (const std::string fault = id_fault(one.test.id); !fault.empty())
                one.table.complain("id", "id " + in_quotes(one.test.id) + " " + fault,
                                   "choose a shorter one");
            all.push_back(std::move(one));
        }
    }
    return all;
}

void choose_supply(RawClaim& raw, const std::vector<RawTest>& tests) {
    if (!raw.claim.at_supply_volts || raw.claim.test.empty()) return;
    const RawTest* nearest = nullptr;
    double apart = same_supply;
    for (const RawTest& test : tests) {
        if (test.test.id == raw.claim.test) return;  // it names one test already
        const auto set = test.test.number(set_field);
        if (!set || test.test.id != id_at_supply(raw.claim.test, *set)) continue;
        const double off = std::abs(*set / *raw.claim.at_supply_volts - 1.0);
        if (off > apart) continue;
        apart = off;
        nearest = &test;
    }
    if (nearest != nullptr) raw.claim.test = nearest->test.id;
}

}  // namespace assay::cli

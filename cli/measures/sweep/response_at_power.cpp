#include "cli/measures/sweep/response_at_power.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <utility>

#include "analysis/units.h"
#include "capture/tone/response_tone.h"
#include "cli/measures/fields.h"
#include "cli/measures/recording/power_level.h"
#include "cli/measures/recording/quiet_take.h"
#include "cli/measures/recording/scale.h"
#include "cli/measures/steps/level_rows.h"

namespace assay::cli {

namespace {

using analysis::Absent;
using capture::Result;

constexpr double range_db = 24.0;  // of the levels below the bench's limit, where only the power is known
constexpr double range_step_db = 3.0;
constexpr double bend_worth_telling_db = 0.1;

double wanted_v(const Setup& setup, const capture::Load& load) {
    return volts_for_power(load, *setup.test->number("power_w"), capture::response_pilot_hz);
}

double heard_v(const Setup& setup, const ResponseReading& reading, std::size_t l) {
    const capture::Load& load = setup.bench->loads[setup.test->loads[l]];
    return reading.pilot_v[l] * scale_correction(setup.bench->inputs[load.plus], capture::response_pilot_hz);
}

/// How far the load that is nearest to the power asked for is below it.
double short_by_db(const Setup& setup, const ResponseReading& reading) {
    double least_db = std::numeric_limits<double>::infinity();
    for (std::size_t l = 0; l < reading.pilot_v.size(); ++l) {
        const double wanted = wanted_v(setup, setup.bench->loads[setup.test->loads[l]]);
        least_db = std::min(least_db, analysis::decibels(wanted / heard_v(setup, reading, l)));
    }
    return least_db;
}

/// Whole sweeps below, and the part of the way to the next one.
struct Place {
    std::size_t sweep = 0;
    double part = 0.0;
};

std::variant<Place, Absent> place_of(const Setup& setup, const Take& take, const PlacedTake& placed,
                                     const capture::Load& load, std::size_t sweeps) {
    const double wanted = wanted_v(setup, load);
    double below_v = 0.0;
    std::size_t sweep = 0;
    for (; sweep < sweeps; ++sweep) {
        const auto volts = steady_v(setup, take, placed, sweep, load);
        if (!volts) break;  // too loud for the recorder, or gone: nothing above rests on it
        if (*volts >= wanted && sweep > 0)
            return Place{sweep - 1, std::log(wanted / below_v) / std::log(*volts / below_v)};
        if (*volts >= wanted) {
            return Absent{
                "power-below-range",
                fmt::format("the faintest sweep gave {:.3g} V, {:.3g} V were asked for", *volts, wanted),
                "turn the amplifier's gain down, or ask for more power"};
        }
        below_v = *volts;
    }
    return Absent{
        "power-not-reached",
        sweep == 0
            ? std::string("no steady tone could be read without doubt")
            : fmt::format("the loudest sweep that can be trusted gave {:.3g} V, {:.3g} V were asked for",
                          below_v, wanted),
        "turn the amplifier's gain up, or ask for less power; at an overload, use more attenuation"};
}

void go_between(ChannelResponse& low, const ChannelResponse& high, double part) {
    low.louder = std::make_shared<const ChannelResponse>(high);
    low.louder_part = part;
}

ResponseReading between(const ResponseReading& low, const ResponseReading& high, double part) {
    ResponseReading reading = low;
    for (std::size_t l = 0; l < reading.loads.size(); ++l) {
        go_between(reading.loads[l], high.loads[l], part);
        reading.pilot_v[l] = low.pilot_v[l] * std::pow(high.pilot_v[l] / low.pilot_v[l], part);
        if (std::abs(high.level_change[l]) > std::abs(low.level_change[l]))
            reading.level_change[l] = high.level_change[l];
        reading.plus_peak_dbfs[l] = std::max(low.plus_peak_dbfs[l], high.plus_peak_dbfs[l]);
    }
    if (reading.reference && high.reference) go_between(*reading.reference, *high.reference, part);
    reading.level_dbfs = low.level_dbfs + part * (high.level_dbfs - low.level_dbfs);
    return reading;
}

Result<ResponseAtPower> read_between(const Setup& setup, const Take& take) {
    const auto placed = place_take(setup, take);
    if (!placed) return tl::unexpected<capture::Fault>(placed.error());
    const std::size_t sweeps = placed->steps.size() / steps_of_sweep;
    std::map<std::size_t, ResponseReading> read;
    const auto reading_of = [&](std::size_t sweep) -> Result<const ResponseReading*> {
        if (!read.contains(sweep)) {
            auto reading = read_response(setup, take, *placed, sweep);
            if (!reading) return tl::unexpected<capture::Fault>(reading.error());
            read.emplace(sweep, std::move(*reading));
        }
        return &read.at(sweep);
    };
    ResponseAtPower found;
    found.between = true;
    for (const std::size_t index : setup.test->loads) {
        const auto place = place_of(setup, take, *placed, setup.bench->loads[index], sweeps);
        if (const auto* absent = std::get_if<Absent>(&place)) {
            found.loads.emplace_back(*absent);
            continue;
        }
        const auto [sweep, part] = std::get<Place>(place);
        const auto low = reading_of(sweep);
        const auto high = low ? reading_of(sweep + 1) : low;
        if (!high) return tl::unexpected<capture::Fault>(high.error());
        found.loads.emplace_back(between(**low, **high, part));
    }
    return found;
}

}  // namespace

capture::Tone response_tone_of(const Setup& setup, const std::vector<double>& levels_dbfs) {
    return capture::make_response_tone({.rate_hz = setup.tone_rate_hz,
                                        .start_hz = field_number(*setup.test, "start_hz"),
                                        .stop_hz = response_stop_hz(setup),
                                        .levels_dbfs = levels_dbfs,
                                        .code = setup.test->id + "/response"});
}

std::optional<capture::Tone> next_response_at_power(const Setup& setup, std::span<const Take> takes) {
    if (!setup.live) {
        if (!takes.empty()) return std::nullopt;
        return response_tone_of(setup, rising_levels(limit_dbfs(setup), range_db, range_step_db));
    }
    if (takes.empty()) return quiet_tone(setup, capture::response_pilot_hz, "gain");
    if (takes.size() >= most_takes_at_power) return std::nullopt;
    const Take& last = takes.back();
    if (only_quiet(setup, takes)) {
        const auto level = level_by_quiet_tone(setup, last);
        if (!std::holds_alternative<double>(level)) return std::nullopt;
        return response_tone_of(setup, {std::get<double>(level)});
    }
    const auto reading = read_response(setup, last);
    if (!reading) return std::nullopt;
    const double off_db = short_by_db(setup, *reading);
    if (!worth_correcting(off_db)) return std::nullopt;
    const double level = reading->level_dbfs + off_db;
    if (level > limit_dbfs(setup)) return std::nullopt;
    return response_tone_of(setup, {level});
}

Result<ResponseAtPower> read_response_at_power(const Setup& setup, std::span<const Take> takes) {
    const Take& take = takes.back();
    if (!setup.live) return read_between(setup, take);
    ResponseAtPower found;
    if (only_quiet(setup, takes)) {
        found.loads.assign(setup.test->loads.size(), why_only_quiet(setup, take));
        return found;
    }
    const auto reading = read_response(setup, take);
    if (!reading) return tl::unexpected<capture::Fault>(reading.error());
    found.loads.assign(setup.test->loads.size(), *reading);
    return found;
}

void remark_on_power(const Setup& setup, const capture::Load& load, const ResponseReading& reading,
                     std::size_t l, Numbers& numbers) {
    const double asked_w = *setup.test->number("power_w");
    const double volts = heard_v(setup, reading, l);
    const double power_w = volts * volts * conductance_at(load, capture::response_pilot_hz);
    warn_of_other_power(asked_w, power_w, "is what this curve belongs to", numbers);
    const double bend_db = reading.loads[l].louder_gain_db(capture::response_pilot_hz);
    if (std::abs(bend_db) > bend_worth_telling_db) {
        numbers.warn("gain-bends",
                     fmt::format("between the sweeps that enclose the power the gain changes by {:+.2f} dB: "
                                 "the unit is near its limit",
                                 bend_db),
                     "ask for less power, or run the test live, where it is set to the power itself");
    }
}

}  // namespace assay::cli

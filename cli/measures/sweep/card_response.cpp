#include "cli/measures/sweep/card_response.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <numbers>
#include <tuple>

#include "analysis/units.h"
#include "cli/files/curves/response_file.h"
#include "cli/files/utf8.h"
#include "cli/measures/fields.h"

namespace assay::cli {

namespace {

using capture::Result;

constexpr double end_slack = 1.05;
constexpr double same_rate = 1e-3;
// An output that drives the card and not the unit, whose input loads it otherwise: common practice, no
// source.
constexpr double same_gain_db = 1.0;

/// Of a date as "2026-11-26".
std::optional<std::chrono::sys_days> day_of(const std::string& date) {
    int year = 0;
    unsigned month = 0;
    unsigned day = 0;
    if (std::sscanf(date.c_str(), "%4d-%2u-%2u", &year, &month, &day) != 3) return std::nullopt;
    const std::chrono::year_month_day whole{std::chrono::year(year), std::chrono::month(month),
                                            std::chrono::day(day)};
    if (!whole.ok()) return std::nullopt;
    return std::chrono::sys_days(whole);
}

/// dB and unwrapped degrees at a frequency.
std::pair<double, double> level_and_phase(const CardResponse& card, double frequency_hz) {
    const auto& f = card.frequency_hz;
    const auto above = std::lower_bound(f.begin(), f.end(), frequency_hz);
    if (above == f.begin()) return {card.magnitude_db.front(), card.phase_deg.front()};
    if (above == f.end()) return {card.magnitude_db.back(), card.phase_deg.back()};
    const auto high = static_cast<std::size_t>(above - f.begin());
    const double part = std::log(frequency_hz / f[high - 1]) / std::log(f[high] / f[high - 1]);
    // The shorter way round: points of a loopback lie close.
    const double turn = std::remainder(card.phase_deg[high] - card.phase_deg[high - 1], 360.0);
    return {card.magnitude_db[high - 1] + part * (card.magnitude_db[high] - card.magnitude_db[high - 1]),
            card.phase_deg[high - 1] + part * turn};
}

std::complex<double> raw_at(const CardResponse& card, double frequency_hz) {
    const auto [db, degrees] = level_and_phase(card, frequency_hz);
    const std::complex<double> value =
        std::polar(analysis::ratio_from_decibels(db), degrees * analysis::radians);
    if (!card.high_pass_undone_hz) return value;
    return value / std::complex<double>(1.0, -*card.high_pass_undone_hz / frequency_hz);
}

}  // namespace

std::complex<double> CardResponse::at(double at_hz) const {
    return raw_at(*this, at_hz) / std::abs(raw_at(*this, reference_hz));
}

double CardResponse::doubt_db(double at_hz) const {
    if (!standard_uncertainty_db) return 0.0;
    const auto above = std::lower_bound(frequency_hz.begin(), frequency_hz.end(), at_hz);
    const auto index = static_cast<std::size_t>(above - frequency_hz.begin());
    // The larger of both neighbours: a straight line between them is no better.
    const double high = (*standard_uncertainty_db)[std::min(index, frequency_hz.size() - 1)];
    return index == 0 ? high : std::max(high, (*standard_uncertainty_db)[index - 1]);
}

std::string outdated_by(const Setup& setup, const capture::Input& input, const CardResponse& card,
                        double recorded_rate_hz, const capture::Load* load) {
    if (std::abs(card.rate_hz / recorded_rate_hz - 1.0) > same_rate)
        return fmt::format("was taken at {:.6g} Hz, this recording at {:.6g} Hz", card.rate_hz,
                           recorded_rate_hz);
    // Recordings from elsewhere do not say what made them.
    if (setup.live) {
        for (const auto& [then, now, what] :
             {std::tuple{card.playback_device, setup.bench->playback_device, "played by"},
              std::tuple{card.record_device, setup.bench->record_device, "recorded by"}}) {
            if (!then.empty() && lower_case(then).find(lower_case(now)) == std::string::npos)
                return fmt::format("was {} \"{}\", and the bench names \"{}\"", what, then, now);
        }
    }
    const auto output_v = load != nullptr ? output_volts_at_full_scale_sine(setup, *load) : std::nullopt;
    if (card.gain_db && output_v) {
        const double stated_db =
            analysis::decibels(*output_v * std::numbers::sqrt2 / input.volts_at_full_scale);
        if (std::abs(*card.gain_db - stated_db) > same_gain_db)
            return fmt::format(
                "was taken at a gain of {:+.1f} dB from output to input, and the bench's scales say "
                "{:+.1f} dB: a volume or a gain has been changed",
                *card.gain_db, stated_db);
    }
    return {};
}

std::optional<int> age_days(const Setup& setup, const CardResponse& card) {
    const auto then = day_of(card.date);
    const auto now = day_of(setup.date);
    if (!then || !now) return std::nullopt;
    return static_cast<int>((*now - *then).count());
}

bool CardResponse::covers(double from_hz, double to_hz) const {
    return frequency_hz.front() <= end_slack * from_hz && frequency_hz.back() >= to_hz / end_slack;
}

std::complex<double> LoadCardResponse::at(double frequency_hz, double plus_share) const {
    const std::complex<double> first = plus->at(frequency_hz);
    return minus ? plus_share * first + (1.0 - plus_share) * minus->at(frequency_hz) : first;
}

bool LoadCardResponse::states_doubt() const {
    return plus->standard_uncertainty_db && (!minus || minus->standard_uncertainty_db);
}

double LoadCardResponse::doubt_db(double frequency_hz, double plus_share) const {
    double doubt = plus_share * plus->doubt_db(frequency_hz);
    if (minus) doubt = std::hypot(doubt, (1.0 - plus_share) * minus->doubt_db(frequency_hz));
    if (!days_old) return doubt;
    const double whole_db = analysis::decibels(std::abs(at(frequency_hz, plus_share)));
    return std::hypot(doubt, whole_db / std::numbers::sqrt3);
}

Result<LoadCardResponse> card_response_for(const Setup& setup, const capture::Load& load,
                                           double recorded_rate_hz, double from_hz, double to_hz) {
    LoadCardResponse result;
    const auto read = [&](std::size_t index) -> Result<std::optional<CardResponse>> {
        const capture::Input& input = setup.bench->inputs[index];
        if (input.response_file.empty()) {
            result.why_not = fmt::format("input \"{}\" has no response from a loopback", input.name);
            result.mend =
                "run `assay calibrate loopback`, or put an input of role \"reference\" on the unit's "
                "own input: either takes it out";
            return std::optional<CardResponse>{};
        }
        auto card = read_card_response(setup.folder / input.response_file);
        if (!card) return tl::unexpected<capture::Fault>(card.error());
        result.file = input.response_file;
        const std::string again = "run `assay calibrate loopback` again, as the bench is now";
        if (card->input != input.name) {
            result.why_not = fmt::format("{} is the loopback of input \"{}\", not of \"{}\"", result.file,
                                         card->input, input.name);
            result.mend = again;
        } else if (const std::string change = outdated_by(setup, input, *card, recorded_rate_hz, &load);
                   !change.empty()) {
            result.why_not = result.file + " " + change;
            result.mend = again;
        } else if (!card->covers(from_hz, to_hz)) {
            result.why_not = fmt::format(
                "{} goes from {:.5g} to {:.5g} Hz, the curve from {:.5g} to {:.5g} Hz", result.file,
                card->frequency_hz.front(), card->frequency_hz.back(), from_hz, to_hz);
            result.mend = "narrow the test's start_hz and stop_hz, or take the loopback over a wider band";
        }
        const auto days = age_days(setup, *card);
        if (days && *days > loopback_holds_days)
            result.days_old = std::max(*days, result.days_old.value_or(0));
        return std::optional<CardResponse>(std::move(*card));
    };
    auto plus = read(load.plus);
    if (!plus) return tl::unexpected<capture::Fault>(plus.error());
    result.plus = std::move(*plus);
    if (load.minus && result.why_not.empty()) {
        auto minus = read(*load.minus);
        if (!minus) return tl::unexpected<capture::Fault>(minus.error());
        result.minus = std::move(*minus);
    }
    return result;
}

}  // namespace assay::cli

#include "cli/measures/card_response.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "cli/files/response_file.h"

namespace assay::cli {

namespace {

using capture::Result;

constexpr double reference_hz = 1000.0;
constexpr double radians = std::numbers::pi / 180.0;
constexpr double end_slack = 1.05;
constexpr double same_rate = 1e-3;

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
    const std::complex<double> value = std::polar(std::pow(10.0, db / 20.0), degrees * radians);
    if (!card.high_pass_undone_hz) return value;
    return value / std::complex<double>(1.0, -*card.high_pass_undone_hz / frequency_hz);
}

}  // namespace

std::complex<double> CardResponse::at(double at_hz) const {
    return raw_at(*this, at_hz) / std::abs(raw_at(*this, reference_hz));
}

bool CardResponse::covers(double from_hz, double to_hz) const {
    return frequency_hz.front() <= end_slack * from_hz && frequency_hz.back() >= to_hz / end_slack;
}

std::complex<double> LoadCardResponse::at(double frequency_hz, double plus_share) const {
    const std::complex<double> first = plus->at(frequency_hz);
    return minus ? plus_share * first + (1.0 - plus_share) * minus->at(frequency_hz) : first;
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
        } else if (std::abs(card->rate_hz / recorded_rate_hz - 1.0) > same_rate) {
            result.why_not = fmt::format("{} was taken at {:.6g} Hz, this recording at {:.6g} Hz",
                                         result.file, card->rate_hz, recorded_rate_hz);
            result.mend = again;
        } else if (!card->covers(from_hz, to_hz)) {
            result.why_not = fmt::format(
                "{} goes from {:.5g} to {:.5g} Hz, the curve from {:.5g} to {:.5g} Hz", result.file,
                card->frequency_hz.front(), card->frequency_hz.back(), from_hz, to_hz);
            result.mend = "narrow the test's start_hz and stop_hz, or take the loopback over a wider band";
        }
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

#include "capture/simulated/card.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "capture/units.h"

namespace assay::capture {

namespace {
constexpr double fine_grid_hz = 1.4e6;
constexpr double play_band = 0.4535;  // of the card's rate: 20 kHz at 44.1 kHz
constexpr double record_band = 0.5;
}  // namespace

int fine_grid_stages(double card_rate_hz) {
    int stages = 2;
    while (std::ldexp(card_rate_hz, stages) < fine_grid_hz) ++stages;
    return stages;
}

PlaySide::PlaySide(int stages) {
    for (int stage = 0; stage < stages; ++stage) stages_.emplace_back(std::ldexp(play_band, -stage));
}

void PlaySide::process(std::span<const double> in, std::vector<double>& out) {
    out.assign(in.begin(), in.end());
    for (DoubleRate& stage : stages_) {
        other_.resize(2 * out.size());
        stage.process(out, other_);
        std::swap(out, other_);
    }
}

double PlaySide::first_index() const {
    double index = 0.0;
    for (const DoubleRate& stage : stages_) index = 2.0 * (index + stage.delay_samples());
    return index;
}

RecordSide::RecordSide(const SimulatedCard& card, double units_per_volt, int stages, double card_rate_hz)
    : units_per_volt_(units_per_volt),
      coupling_step_(-std::expm1(-two_pi * card.coupling_hz / std::ldexp(card_rate_hz, stages))),
      ceiling_(ratio_from_decibels(card.ceiling_dbfs)) {
    for (int stage = stages - 1; stage > 0; --stage) stages_.emplace_back(std::ldexp(record_band, -stage));
}

void RecordSide::process(std::span<const double> volts, std::vector<double>& out) {
    out.resize(volts.size());
    for (std::size_t i = 0; i < volts.size(); ++i) {
        const double value = units_per_volt_ * volts[i];
        coupling_state_ += coupling_step_ * (value - coupling_state_);
        out[i] = std::clamp(value - coupling_state_, -ceiling_, ceiling_);
    }
    for (HalveRate& stage : stages_) {
        other_.resize(out.size() / 2);
        stage.process(out, other_);
        std::swap(out, other_);
    }
}

double RecordSide::index_of(double fine_index) const {
    double index = fine_index;
    for (const HalveRate& stage : stages_) index = 0.5 * index + stage.delay_samples();
    return index;
}

Quantiser::Quantiser(int bits) : steps_(std::ldexp(1.0, bits - 1)) {}

float Quantiser::operator()(double value) const {
    return static_cast<float>(std::clamp(std::nearbyint(value * steps_), -steps_, steps_ - 1.0) / steps_);
}

double card_noise(const SimulatedCard& card) {
    return ratio_from_decibels(card.noise_dbfs) / std::numbers::sqrt2;
}

}  // namespace assay::capture

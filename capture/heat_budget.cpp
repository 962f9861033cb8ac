#include "capture/heat_budget.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

namespace assay::capture {

Result<TakeHeat> heat_of(const Recording& recording, const Bench& bench, const Load& load) {
    TakeHeat heat;
    heat.seconds = recording.duration_s();
    if (std::isinf(load.resistance_ohm)) return heat;
    auto reader = RecordingReader::open(recording);
    if (!reader) return tl::unexpected(reader.error());
    const Input& plus = bench.inputs[load.plus];
    const Input& minus = bench.inputs[load.minus.value_or(load.plus)];
    const std::vector<int> channels{plus.channel, minus.channel};
    const double minus_scale = load.minus ? minus.volts_per_unit() : 0.0;
    const auto block = static_cast<std::int64_t>(0.05 * recording.rate_hz);
    std::vector<std::vector<float>> samples;
    for (std::int64_t first = 0; first < recording.frames; first += block) {
        if (auto read = reader->read_into(channels, first, block, samples); !read)
            return tl::unexpected(read.error());
        double sum = 0.0;
        double square = 0.0;
        const std::size_t count = samples[0].size();
        for (std::size_t n = 0; n < count; ++n) {
            const double volts = static_cast<double>(samples[0][n]) * plus.volts_per_unit() -
                                 static_cast<double>(samples[1][n]) * minus_scale;
            sum += volts;
            square += volts * volts;
        }
        const double mean = sum / static_cast<double>(count);
        const double power_w =
            std::max(0.0, square / static_cast<double>(count) - mean * mean) / load.resistance_ohm;
        heat.highest_w = std::max(heat.highest_w, power_w);
        heat.energy_ws += power_w * static_cast<double>(count) / recording.rate_hz;
    }
    return heat;
}

HeatBudget::HeatBudget(const Load& load)
    : rating_w_(load.rated_power_no_heatsink_w ? load.rated_power_no_heatsink_w : load.rated_power_w) {}

void HeatBudget::took(const TakeHeat& heat) {
    stored_ws_ += heat.energy_ws;
    rested(heat.seconds);
}

void HeatBudget::rested(double seconds) {
    if (rating_w_) stored_ws_ = std::max(0.0, stored_ws_ - *rating_w_ * seconds);
}

double HeatBudget::rest_before_s(double energy_ws, double seconds) const {
    if (!rating_w_) return 0.0;
    const double room_ws = store_s * *rating_w_;
    const double added_ws = std::max(0.0, energy_ws - *rating_w_ * seconds);
    if (added_ws > room_ws) return std::numeric_limits<double>::infinity();
    return std::max(0.0, (stored_ws_ + added_ws - room_ws) / *rating_w_);
}

}  // namespace assay::capture

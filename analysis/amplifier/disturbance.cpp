#include "analysis/amplifier/disturbance.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <vector>

#include "analysis/signal/lanes.h"
#include "analysis/signal/median.h"
#include "analysis/units.h"

namespace assay::analysis {

namespace {

constexpr double cycles_per_block = 3.0;
constexpr double smallest_phase_jump_rad = 2.0 * radians;
constexpr double amplitude_dip = 0.12;  // of the median: more than 0.4 cycles of nothing in a block
constexpr double sigmas = 7.0;

constexpr double block_cycles_apart =
    4.0;  // of the nearest neighbour: 4 bins from the middle of a Hann window
constexpr double shortest_block_s = 0.02;

/// A tone in blocks that follow each other; phases without turns.
struct Blocks {
    std::vector<double> amplitudes{};
    std::vector<double> phases{};
    double length_s = 0.0;
};

void add_block(Blocks& blocks, std::complex<double> sum) {
    double phase = std::arg(sum);
    if (!blocks.phases.empty())
        phase = blocks.phases.back() + std::remainder(phase - blocks.phases.back(), two_pi);
    blocks.amplitudes.push_back(std::abs(sum));
    blocks.phases.push_back(phase);
}

/// A gap lasts a few blocks; behind a gain that was changed every block has another amplitude. The two
/// stretches meet where neighbours differ most.
bool level_jumps(const std::vector<double>& amplitudes, double typical) {
    std::size_t last = 0;  // before the jump
    for (std::size_t b = 0; b + 1 < amplitudes.size(); ++b) {
        if (std::abs(amplitudes[b + 1] - amplitudes[b]) > std::abs(amplitudes[last + 1] - amplitudes[last]))
            last = b;
    }
    const auto border = amplitudes.begin() + static_cast<std::ptrdiff_t>(last) + 1;
    const double before = median({amplitudes.begin(), border});
    const double after = median({border, amplitudes.end()});
    return std::abs(after - before) > amplitude_dip * typical &&
           std::min(before, after) > amplitude_dip * typical;
}

Disturbance judge(const Blocks& blocks) {
    const std::size_t count = blocks.phases.size();
    const double typical = median(blocks.amplitudes);
    std::vector<double> amplitude_changes;
    std::vector<double> slopes;
    for (std::size_t b = 1; b < count; ++b) {
        amplitude_changes.push_back(std::abs(blocks.amplitudes[b] - blocks.amplitudes[b - 1]));
        slopes.push_back(blocks.phases[b] - blocks.phases[b - 1]);
    }
    const double amplitude_sigma = median(amplitude_changes);
    // A jump bends the fitted frequency, which tilts all phases alike: the tilt is taken out first.
    const double tilt = median(slopes);
    std::vector<double> phase_changes;
    phase_changes.reserve(slopes.size());
    for (const double slope : slopes) phase_changes.push_back(std::abs(slope - tilt));
    const double phase_sigma = median(phase_changes);
    const auto block_s = [&](std::size_t b) { return static_cast<double>(b) * blocks.length_s; };
    for (std::size_t b = 0; b < count; ++b) {
        const double off = std::abs(blocks.amplitudes[b] - typical);
        if (off > amplitude_dip * typical && off > sigmas * 1.5 * amplitude_sigma)
            return {true, block_s(b) + block_s(1) / 2.0, level_jumps(blocks.amplitudes, typical)};
    }
    // A jump spreads over two block differences at most.
    for (std::size_t b = 0; b < phase_changes.size(); ++b) {
        const double change = phase_changes[b] + (b + 1 < phase_changes.size() ? phase_changes[b + 1] : 0.0);
        if (change > smallest_phase_jump_rad + 2.0 * sigmas * phase_sigma) return {true, block_s(b + 1)};
    }
    return {};
}

}  // namespace

Disturbance disturbance_within(std::span<const double> record, double rate_hz, double frequency_hz) {
    const auto length = static_cast<std::size_t>(std::llround(cycles_per_block * rate_hz / frequency_hz));
    const std::size_t count = length > 0 ? record.size() / length : 0;
    if (count < 4) return {};
    const double omega = two_pi * frequency_hz / rate_hz;
    Blocks blocks;
    blocks.length_s = static_cast<double>(length) / rate_hz;
    std::vector<double> turns_re(length);
    std::vector<double> turns_im(length);
    std::complex<double> turns_sum{};
    for (std::size_t n = 0; n < length; ++n) {
        const std::complex<double> turn = std::polar(1.0, -omega * static_cast<double>(n));
        turns_re[n] = turn.real();
        turns_im[n] = turn.imag();
        turns_sum += turn;
    }
    for (std::size_t b = 0; b < count; ++b) {
        const std::span<const double> block = record.subspan(b * length, length);
        const double mean = lane_sum(block) / static_cast<double>(length);
        add_block(blocks, (lane_dot(block, turns_re, turns_im) - mean * turns_sum) *
                              std::polar(1.0, -omega * static_cast<double>(b * length)));
    }
    return judge(blocks);
}

Disturbance disturbance_of_line(std::span<const double> record, double rate_hz, double frequency_hz,
                                double apart_hz) {
    const double block_s = std::max(shortest_block_s, block_cycles_apart / apart_hz);
    const auto length = static_cast<std::size_t>(std::llround(block_s * rate_hz));
    const std::size_t count = length > 0 ? record.size() / length : 0;
    if (count < 4) return {};
    const double omega = two_pi * frequency_hz / rate_hz;
    const double window_step = two_pi / static_cast<double>(length);
    Blocks blocks;
    blocks.length_s = static_cast<double>(length) / rate_hz;
    for (std::size_t b = 0; b < count; ++b) {
        std::complex<double> sum{};
        for (std::size_t n = 0; n < length; ++n) {
            const double weight = 0.5 - 0.5 * std::cos(window_step * (static_cast<double>(n) + 0.5));
            sum += weight * record[b * length + n] *
                   std::polar(1.0, -omega * static_cast<double>(b * length + n));
        }
        add_block(blocks, sum);
    }
    return judge(blocks);
}

}  // namespace assay::analysis

#include "capture/simulated/driver_run.h"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <numbers>

#include "capture/transform.h"
#include "capture/units.h"

namespace assay::capture {

namespace {

using Complex = std::complex<double>;

constexpr double die_away_s =
    2.0;  // after this a cone of Q 50 at 20 Hz has fallen by 20 dB, usual ones by 100 dB
constexpr int motion_rounds = 4;
constexpr int stages = 1;  // the network is linear: twice the card's rate is fine enough
constexpr std::array<double, 3> hum_orders{1.0, 3.0, 5.0};
constexpr std::array<double, 3> hum_parts{1.0, 1.0 / 3.0, 0.1};
constexpr double open_ohm = 1e9;

DriverMount mount_of(const Bench& bench, const PlayRequest::InJig& in_jig, double displacement_rms_m) {
    const SimulatedDriver& driver = bench.simulated.driver;
    return {in_jig.added_mass_g * 1e-3 * driver.added_mass_scale,
            in_jig.test_box_l * 1e-3 * driver.test_box_scale, displacement_rms_m};
}

/// Volts at the two inputs over the whole take.
struct NodeVolts {
    std::vector<double> generator_side{};
    std::vector<double> driver_side{};
};

/// A stretch of the tone that is computed at one.
struct Stretch {
    std::size_t first = 0;
    std::vector<Complex> drive{};  // volts in time, then their spectrum
};

double motion_of(const Bench& bench, const PlayRequest::InJig& in_jig, const std::vector<Complex>& spectrum,
                 double rate_hz, std::size_t frames) {
    double rms_m = 0.0;
    const std::size_t size = spectrum.size();
    const double step = two_pi * rate_hz / static_cast<double>(size);
    // A cone follows no more than a few thousand hertz by more than a millionth of its motion at resonance.
    const auto end = std::min(size / 2, static_cast<std::size_t>(std::ceil(5000.0 * two_pi / step)));
    for (int round = 0; round < motion_rounds; ++round) {
        const DriverMount mount = mount_of(bench, in_jig, rms_m);
        double sum = 0.0;
        for (std::size_t k = 1; k < end; ++k) {
            if (std::norm(spectrum[k]) == 0.0) continue;
            const double omega = step * static_cast<double>(k);
            const Complex volts = spectrum[k] * jig_nodes(bench, in_jig, rms_m, omega).terminals;
            sum += 2.0 * std::norm(volts * driver_displacement(bench.simulated.driver, mount, omega));
        }
        // Parseval over the transform's length, then over the time that something plays.
        rms_m = std::sqrt(sum / static_cast<double>(size) / static_cast<double>(frames));
    }
    return rms_m;
}

/// Both nodes are real in time: one goes back as the real part, the other as the imaginary part.
void add_response(const Bench& bench, const PlayRequest::InJig& in_jig, double rate_hz, std::size_t frames,
                  bool moves, Stretch& stretch, NodeVolts& out) {
    const std::size_t size = stretch.drive.size();
    const Transform transform(size);
    transform.forward(stretch.drive);
    const bool softens = moves && bench.simulated.driver.compliance_rise_per_mm > 0.0;
    const double rms_m = softens ? motion_of(bench, in_jig, stretch.drive, rate_hz, frames) : 0.0;
    const Complex j(0.0, 1.0);
    for (std::size_t k = 0; k <= size / 2; ++k) {
        const double omega = two_pi * rate_hz * static_cast<double>(k) / static_cast<double>(size);
        const JigNodes nodes = jig_nodes(bench, in_jig, rms_m, omega);
        stretch.drive[k] = product(stretch.drive[k], nodes.generator_side + j * nodes.driver_side);
        if (k == 0 || k == size / 2) continue;
        Complex& mirrored = stretch.drive[size - k];
        mirrored = product(mirrored, std::conj(nodes.generator_side) + j * std::conj(nodes.driver_side));
    }
    transform.backward(stretch.drive);
    const double scale = 1.0 / static_cast<double>(size);
    const std::size_t count = std::min(size, out.generator_side.size() - stretch.first);
    for (std::size_t n = 0; n < count; ++n) {
        out.generator_side[stretch.first + n] += scale * stretch.drive[n].real();
        out.driver_side[stretch.first + n] += scale * stretch.drive[n].imag();
    }
}

NodeVolts volts_at_nodes(const Bench& bench, const SimulatedTake& take, std::size_t frames) {
    const Tone& tone = *take.tone;
    std::vector<float> played(static_cast<std::size_t>(tone.frames));
    render(tone, 0, played);
    const double gain = ratio_from_decibels(bench.simulated.jig.generator_gain_db);
    const double volts = take.outputs.empty() ? 0.0 : gain * play_volts(bench, take.outputs.front());
    const auto tail = static_cast<std::size_t>(std::ceil(die_away_s * tone.rate_hz));

    NodeVolts out{std::vector<double>(frames), std::vector<double>(frames)};
    const auto respond = [&](std::size_t first, std::size_t count, bool moves) {
        Stretch stretch{first, std::vector<Complex>(std::bit_ceil(count + tail))};
        for (std::size_t n = 0; n < count; ++n) {
            float& value = played[first + n];
            stretch.drive[n] = volts * std::clamp(static_cast<double>(value), -1.0, 1.0);
            value = 0.0F;
        }
        add_response(bench, *take.in_jig, tone.rate_hz, count, moves, stretch, out);
    };
    if (bench.simulated.driver.compliance_rise_per_mm > 0.0) {
        for (const Segment& segment : tone.segments) {
            if (segment.role == SegmentRole::step)
                respond(static_cast<std::size_t>(segment.first_frame),
                        static_cast<std::size_t>(segment.frames), true);
        }
    }
    respond(0, played.size(), false);  // what is left
    return out;
}

/// Hum and noise that the inputs pick up beside the driver's volts.
struct PickUp {
    PickUp(const Bench& bench, const SimulatedTake& take)
        : jig(bench.simulated.jig),
          rate_hz(take.tone->rate_hz),
          noise{RandomSource(stream_seed(bench.simulated.seed, take.name, 0)),
                RandomSource(stream_seed(bench.simulated.seed, take.name, 1))} {}

    void operator()(std::int64_t frame, std::span<double> volts) {
        double hum_v = 0.0;
        for (std::size_t k = 0; jig.hum_v > 0.0 && k < hum_orders.size(); ++k) {
            const double turns = jig.hum_hz * hum_orders[k] * static_cast<double>(frame) / rate_hz;
            hum_v += std::numbers::sqrt2 * jig.hum_v * hum_parts[k] *
                     std::sin(two_pi * std::fmod(turns, 1.0) + 0.7);
        }
        volts[0] = 0.5 * hum_v;
        volts[1] = hum_v;
        for (std::size_t i = 0; jig.noise_v > 0.0 && i < 2; ++i) volts[i] += jig.noise_v * noise[i].normal();
    }

    const SimulatedJig& jig;
    double rate_hz;
    std::array<RandomSource, 2> noise;
};

double stated_or(double stated, double otherwise) {
    return stated > 0.0 ? stated : otherwise;
}

}  // namespace

JigNodes jig_nodes(const Bench& bench, const PlayRequest::InJig& in_jig, double displacement_rms_m,
                   double omega) {
    const SimulatedJig& jig = bench.simulated.jig;
    const double series_ohm = stated_or(jig.series_ohm, bench.jig->series_ohm);
    const double lead_ohm = jig.lead_ohm >= 0.0 ? jig.lead_ohm : bench.jig->lead_ohm;
    const double input_ohm =
        stated_or(jig.input_resistance_ohm, bench.jig->input_resistance_ohm.value_or(0.0));
    const double input_siemens = input_ohm > 0.0 ? 1.0 / input_ohm : 0.0;

    Complex driver =
        driver_impedance(bench.simulated.driver, mount_of(bench, in_jig, displacement_rms_m), omega);
    if (jig.driver_open) driver = open_ohm;
    if (jig.driver_shorted) driver = 0.0;
    const bool high = bench.jig->topology == ImpedanceJig::Topology::series_high;
    const Complex upper = high ? Complex(series_ohm) : driver + lead_ohm;
    Complex lower = high ? driver + lead_ohm : Complex(series_ohm);
    if (!in_jig.both_inputs_on_one_node) lower = lower / (1.0 + lower * input_siemens);
    const Complex current = 1.0 / (jig.generator_resistance_ohm + upper + lower);

    JigNodes nodes;
    nodes.generator_side = current * (upper + lower);
    nodes.driver_side = in_jig.both_inputs_on_one_node ? nodes.generator_side : current * lower;
    const Complex across = high ? current * lower : current * upper;
    nodes.terminals = across * driver / (driver + lead_ohm);
    if (jig.inputs_swapped) std::swap(nodes.generator_side, nodes.driver_side);
    nodes.driver_side *=
        std::polar(ratio_from_decibels(jig.mismatch_db), -omega * jig.mismatch_delay_us * 1e-6);
    return nodes;
}

Result<void> simulate_driver_take(const Bench& bench, const SimulatedTake& take, const FrameSink& sink,
                                  const std::function<void(double done)>& progress,
                                  const std::atomic<bool>& stop) {
    if (!bench.jig || !take.in_jig)
        return fail(FaultKind::internal, "there is no impedance jig on the bench");
    const double rate_hz = take.tone->rate_hz;
    const std::int64_t end_frame = recorded_frames(bench.simulated.card, *take.tone);
    const auto played_end = static_cast<std::int64_t>(std::ceil(static_cast<double>(end_frame) * 1.002));
    const NodeVolts volts = volts_at_nodes(bench, take, static_cast<std::size_t>(played_end));

    Recorder recorder(bench, rate_hz, stages, take.name);
    recorder.connect(bench.jig->generator_side);
    recorder.connect(bench.jig->driver_side);
    std::array<PlaySide, 2> play{PlaySide(stages), PlaySide(stages)};
    PickUp pick_up(bench, take);
    std::int64_t play_frame = first_play_frame(bench.simulated.card, rate_hz);
    std::vector<double> block(play_block_frames);
    std::vector<double> fine;
    while (recorder.next_frame() < end_frame) {
        if (stop.load())
            return fail(FaultKind::stopped, "stopped by hand",
                        "what was recorded is kept; go on with --resume");
        for (std::size_t i = 0; i < 2; ++i) {
            const std::vector<double>& node = i == 0 ? volts.generator_side : volts.driver_side;
            for (std::size_t n = 0; n < block.size(); ++n) {
                const std::int64_t frame = play_frame + static_cast<std::int64_t>(n);
                const bool inside = frame >= 0 && frame < static_cast<std::int64_t>(node.size());
                block[n] = inside ? node[static_cast<std::size_t>(frame)] : 0.0;
            }
            play[i].process(block, fine);
            recorder.hear(i, fine);
        }
        play_frame += static_cast<std::int64_t>(block.size());
        const std::span<const float> frames = recorder.ready_frames(
            end_frame, play_frame,
            [&pick_up](std::int64_t frame, std::span<double> added) { pick_up(frame, added); });
        if (!frames.empty()) {
            if (auto written = sink(frames); !written) return written;
        }
        if (progress) progress(static_cast<double>(recorder.next_frame()) / static_cast<double>(end_frame));
    }
    return {};
}

}  // namespace assay::capture

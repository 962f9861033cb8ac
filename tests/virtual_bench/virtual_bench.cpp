// A JACK client that stands for an amplifier on its bench: what arrives at its ports in_1, in_2 comes out at
// out_1, out_2, amplified and limited, so that a live program can be tested without hardware. It uses nothing
// of the program. Faults are made on purpose, by commands on standard input or at a second after the first
// sound.
//
//   virtual_bench --name NAME [--gain X] [--rail Y] [--noise Z] [--at SECOND:COMMAND]...
//
// Law: out = clamp(gain * in, -rail, rail) + noise, in sample values; noise is uniform, by default 3e-6 peak
// (a converter's, so that nothing is an exact zero). Commands:
//   gain X | gain_2 X         gain_2: of out_2 alone, on top
//   crosstalk X               each output hears so much of the other, behind the unit
//   source_on_two             out_2 hears what comes in at in_1, before the unit
//   play_volume X | record_gain X
//                             of the card's mixer: of all that comes in, of all that goes out
//   band HZ                   what is recorded ends here, as behind a converter of rates
//   rate HZ                   what is recorded goes through this lower rate, by straight
//                             lines, as in a poor one
//   rail Y | ceiling Y        ceiling: of the recorder, after the noise
//   swap | invert N | mute | zeros | one_on_two                       for good
//   detector X                out_2 is a comparator's contact: closed (0.9) while the unit would drive
//                             out_1 beyond X, and 10 ms longer
//   drop N | double N         once: N frames are missing, or given twice
//   fade DB                   from now on the gain falls by DB decibels a second
//   clock PPM                 the recorder counts so many more samples a second
//   jig SERIES_OHM GENERATOR_OHM
//                             from now on an impedance jig (jig.h): in_1 is the generator,
//                             out_1 its end of the series resistor, out_2 the driver's.
//                             What is in it, in SI units; a mass stays until `mass 0`:
//   driver RE MMS CMS RMS BL L R2 L2 | mass KG | resistor OHM | one_node
//   last                      prints the clock's second of the last sound that came in
//   quit                      the device disappears
#include <jack/jack.h>
#include <poll.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <deque>
#include <iomanip>
#include <iostream>
#include <numbers>
#include <sstream>
#include <string>
#include <thread>
#include <vector>

#include "jig.h"

namespace {

constexpr std::size_t channels = 2;
constexpr float audible = 1e-5F;

double now_s() {
    return std::chrono::duration<double>(std::chrono::steady_clock::now().time_since_epoch()).count();
}

/// A low-pass as steep as a converter of rates: a sine over x under a Blackman window, 70 dB down within 5.5
/// bins of its length (closed form of the window, e.g. Harris 1978, table 1).
struct BandEnd {
    static constexpr std::size_t taps = 511;
    double at_hz = 0.0;
    std::array<float, taps> kernel{};
    std::array<float, taps> past{};
    std::size_t next = 0;

    void set(double hz, double rate_hz) {
        at_hz = hz;
        const double pi = std::numbers::pi;
        const double middle = 0.5 * static_cast<double>(taps - 1);
        for (std::size_t k = 0; k < taps; ++k) {
            const double x = static_cast<double>(k) - middle;
            const double turn = pi * x / middle;
            const double window = 0.42 + 0.5 * std::cos(turn) + 0.08 * std::cos(2.0 * turn);
            const double share = 2.0 * hz / rate_hz;
            const double sinc = x == 0.0 ? share : std::sin(pi * share * x) / (pi * x);
            kernel[k] = static_cast<float>(window * sinc);
        }
    }
    float pass(float value) {
        past[next] = value;
        float sum = 0.0F;
        for (std::size_t k = 0; k < taps; ++k) sum += kernel[k] * past[(next + taps - k) % taps];
        next = (next + 1) % taps;
        return sum;
    }
};

/// To a lower rate and back, each way by straight lines between samples.
struct PoorRate {
    std::array<double, 16> past{};
    std::int64_t written = 0;

    double at(double frame) const {
        const auto whole = static_cast<std::int64_t>(std::floor(frame));
        const auto sample = [&](std::int64_t n) { return past[static_cast<std::size_t>((n + 16) % 16)]; };
        const double share = frame - static_cast<double>(whole);
        return (1.0 - share) * sample(whole) + share * sample(whole + 1);
    }
    float pass(float value, double step) {
        past[static_cast<std::size_t>(written % 16)] = static_cast<double>(value);
        const double place = static_cast<double>(written - 4) / step;
        const double before = std::floor(place);
        const double share = place - before;
        ++written;
        return static_cast<float>((1.0 - share) * at(before * step) + share * at((before + 1.0) * step));
    }
};

struct Bench {
    jack_client_t* client = nullptr;
    std::array<jack_port_t*, channels> in{};
    std::array<jack_port_t*, channels> out{};
    std::atomic<float> gain{1.0F};
    std::atomic<float> gain_2{1.0F};
    std::atomic<float> rail{10.0F};
    std::atomic<float> ceiling{100.0F};
    std::atomic<float> noise{3e-6F};
    std::atomic<float> crosstalk{0.0F};
    std::atomic<float> detector{0.0F};  // 0: none
    std::atomic<float> play_volume{1.0F};
    std::atomic<float> record_gain{1.0F};
    std::atomic<double> band_hz{0.0};   // 0: all of it
    std::atomic<double> lower_hz{0.0};  // 0: none
    std::atomic<float> fade_db_per_s{0.0F};
    std::atomic<double> clock_ppm{0.0};
    std::atomic<bool> swap{false};
    std::atomic<bool> mute{false};
    std::atomic<bool> zeros{false};
    std::atomic<bool> one_on_two{false};
    std::atomic<bool> source_on_two{false};
    std::array<std::atomic<bool>, channels> inverted{};
    std::atomic<std::int64_t> drop{0};  // frames; negative: doubled
    std::atomic<double> last_sound_s{-1.0};
    std::atomic<double> first_sound_s{-1.0};

    std::atomic<const virtual_bench::Kernel*> kernel{nullptr};  // none: an amplifier

    // Of the commands alone. Kernels stay, the callback may be using one.
    virtual_bench::Jig jig{};
    std::deque<virtual_bench::Kernel> kernels{};

    // Of the callback alone.
    std::vector<virtual_bench::Convolver> convolver{};
    std::vector<float> jig_sides[channels];
    std::array<std::vector<float>, channels>
        delay{};  // a ring, so that frames can be left out or given twice
    std::int64_t written = 0;
    std::int64_t lag = 0;
    double drift = 0.0;  // frames that the recorder is ahead by, of its own clock
    float faded = 1.0F;
    std::int64_t contact_until = 0;
    std::uint32_t random = 1;
    std::array<BandEnd, channels> band_end{};
    std::array<PoorRate, channels> poor_rate{};
};

constexpr std::int64_t delay_frames = 1 << 18;
constexpr std::int64_t half_kernel = 24;
constexpr std::int64_t contact_frames = 480;

/// The ring at a place between its frames: a sine over x under a Blackman window, flat to 1e-5 up to 0.4 of
/// the rate.
float between(const std::vector<float>& ring, std::int64_t frame, double share) {
    const auto at = [&](std::int64_t n) {
        return static_cast<double>(ring[static_cast<std::size_t>((n + 2 * delay_frames) % delay_frames)]);
    };
    if (share == 0.0) return static_cast<float>(at(frame));
    const double pi = std::numbers::pi;
    double sum = 0.0;
    for (std::int64_t k = 1 - half_kernel; k <= half_kernel; ++k) {
        const double x = static_cast<double>(k) - share;
        const double turn = pi * x / static_cast<double>(half_kernel);
        const double window = 0.42 + 0.5 * std::cos(turn) + 0.08 * std::cos(2.0 * turn);
        sum += at(frame + k) * window * std::sin(pi * x) / (pi * x);
    }
    return static_cast<float>(sum);
}

int process(jack_nframes_t frames, void* argument) {
    Bench& bench = *static_cast<Bench*>(argument);
    std::array<const float*, channels> in{};
    std::array<float*, channels> out{};
    for (std::size_t c = 0; c < channels; ++c) {
        in[c] = static_cast<const float*>(jack_port_get_buffer(bench.in[c], frames));
        out[c] = static_cast<float*>(jack_port_get_buffer(bench.out[c], frames));
    }
    const float rate = static_cast<float>(jack_get_sample_rate(bench.client));
    const double band_hz = bench.band_hz;
    const double lower_hz = bench.lower_hz;
    for (BandEnd& end : bench.band_end) {
        if (band_hz > 0.0 && end.at_hz != band_hz) end.set(band_hz, static_cast<double>(rate));
    }
    const float fall = std::pow(10.0F, -bench.fade_db_per_s / 20.0F / rate);
    bool sound = false;
    for (std::size_t c = 0; c < channels; ++c) {
        for (jack_nframes_t n = 0; n < frames; ++n) sound = sound || std::abs(in[c][n]) > audible;
    }
    if (const virtual_bench::Kernel* kernel = bench.kernel; kernel != nullptr) {
        bench.convolver.front().run(*kernel, {in[0], frames}, bench.jig_sides);
        for (std::size_t c = 0; c < channels; ++c) in[c] = bench.jig_sides[c].data();
    }
    bench.lag -= bench.drop.exchange(0);
    // A base lag leaves room for frames to be left out.
    const std::int64_t base = delay_frames / 4;
    for (jack_nframes_t n = 0; n < frames; ++n) {
        bench.faded *= fall;
        const std::int64_t to = bench.written % delay_frames;
        bench.drift += 1.0 - 1.0 / (1.0 + 1e-6 * bench.clock_ppm);
        const auto whole = static_cast<std::int64_t>(std::ceil(bench.drift));
        const double share = static_cast<double>(whole) - bench.drift;
        const std::int64_t from =
            bench.written - std::clamp<std::int64_t>(base / 32 + bench.lag + whole, half_kernel, base);
        for (std::size_t c = 0; c < channels; ++c) {
            bench.delay[c][static_cast<std::size_t>(to)] = bench.play_volume * in[c][n];
        }
        std::array<float, channels> behind_unit{};
        for (std::size_t c = 0; c < channels; ++c) {
            const bool before_unit = bench.source_on_two && c == 1;
            const std::size_t source = bench.one_on_two || before_unit ? 0
                                       : bench.swap                    ? channels - 1 - c
                                                                       : c;
            float value = between(bench.delay[source], from, share);
            const float rail = bench.rail;
            if (!before_unit) value *= bench.gain * bench.faded;
            if (c == 0 && std::abs(value) > bench.detector)
                bench.contact_until = bench.written + contact_frames;
            if (!before_unit) value = std::clamp(value, -rail, rail);
            behind_unit[c] = value;
        }
        for (std::size_t c = 0; c < channels; ++c) {
            float value = behind_unit[c] + bench.crosstalk * behind_unit[channels - 1 - c];
            if (bench.inverted[c]) value = -value;
            if (c == 1) value *= bench.gain_2;
            if (bench.mute) value = 0.0F;
            if (c == 1 && bench.detector > 0.0F) value = bench.written < bench.contact_until ? 0.9F : 0.0F;
            bench.random = bench.random * 1664525U + 1013904223U;  // Numerical Recipes' quick generator
            value += bench.noise * (static_cast<float>(bench.random >> 8U) * 0x1p-23F - 1.0F);
            value *= bench.record_gain;
            if (band_hz > 0.0) value = bench.band_end[c].pass(value);
            if (lower_hz > 0.0) value = bench.poor_rate[c].pass(value, static_cast<double>(rate) / lower_hz);
            const float ceiling = bench.ceiling;
            value = std::clamp(value, -ceiling, ceiling);
            out[c][n] = bench.zeros ? 0.0F : value;
        }
        ++bench.written;
    }
    if (sound) {
        const double now = now_s();
        bench.last_sound_s = now;
        if (bench.first_sound_s < 0.0) bench.first_sound_s = now;
    }
    return 0;
}

/// False if the words are no command about the jig.
bool obey_in_jig(Bench& bench, const std::string& what, std::istringstream& words) {
    virtual_bench::Jig& jig = bench.jig;
    if (what == "jig") {
        words >> jig.series_ohm >> jig.generator_ohm;
    } else if (what == "driver") {
        virtual_bench::Driver& d = jig.driver;
        words >> d.re_ohm >> d.mms_kg >> d.cms_m_per_n >> d.rms_kg_per_s >> d.bl_tm >> d.coil_h >>
            d.coil_2_ohm >> d.coil_2_h;
        jig.resistor_ohm = 0.0;
        jig.one_node = false;
    } else if (what == "mass") {
        words >> jig.added_kg;
    } else if (what == "resistor") {
        words >> jig.resistor_ohm;
        jig.one_node = false;
    } else if (what == "one_node") {
        jig.one_node = true;
    } else {
        return false;
    }
    const jack_nframes_t block = jack_get_buffer_size(bench.client);
    if (bench.convolver.empty()) bench.convolver.emplace_back(block);
    bench.kernel =
        &bench.kernels.emplace_back(jig, static_cast<double>(jack_get_sample_rate(bench.client)), block);
    return true;
}

/// False for `quit`.
bool obey(Bench& bench, const std::string& line) {
    std::istringstream words(line);
    std::string what;
    double value = 0.0;
    words >> what;
    if (obey_in_jig(bench, what, words)) return true;
    words >> value;
    const auto number = static_cast<float>(value);
    if (what == "gain")
        bench.gain = number;
    else if (what == "gain_2")
        bench.gain_2 = number;
    else if (what == "rail")
        bench.rail = number;
    else if (what == "ceiling")
        bench.ceiling = number;
    else if (what == "fade")
        bench.fade_db_per_s = number;
    else if (what == "crosstalk")
        bench.crosstalk = number;
    else if (what == "detector")
        bench.detector = number;
    else if (what == "play_volume")
        bench.play_volume = number;
    else if (what == "record_gain")
        bench.record_gain = number;
    else if (what == "band")
        bench.band_hz = value;
    else if (what == "rate")
        bench.lower_hz = value;
    else if (what == "source_on_two")
        bench.source_on_two = true;
    else if (what == "clock")
        bench.clock_ppm = value;
    else if (what == "swap")
        bench.swap = true;
    else if (what == "mute")
        bench.mute = true;
    else if (what == "zeros")
        bench.zeros = true;
    else if (what == "one_on_two")
        bench.one_on_two = true;
    else if (what == "invert")
        bench.inverted.at(static_cast<std::size_t>(value) - 1) = true;
    else if (what == "drop")
        bench.drop = static_cast<std::int64_t>(value);
    else if (what == "double")
        bench.drop = -static_cast<std::int64_t>(value);
    else if (what == "last")
        std::cout << bench.last_sound_s.load() << std::endl;
    else if (what == "quit")
        return false;
    else if (!what.empty())
        std::cerr << "virtual_bench: unknown command: " << line << "\n";
    return true;
}

}  // namespace

int main(int argc, char** argv) {
    Bench bench;
    std::string name = "virtual-bench";
    std::vector<std::pair<double, std::string>> later;
    for (int k = 1; k + 1 < argc; k += 2) {
        const std::string option = argv[k];
        const std::string value = argv[k + 1];
        if (option == "--name")
            name = value;
        else if (option == "--at")
            later.emplace_back(std::atof(value.c_str()), value.substr(value.find(':') + 1));
        else if (option == "--noise")
            bench.noise = static_cast<float>(std::atof(value.c_str()));
        else
            obey(bench, option.substr(2) + " " + value);
    }
    bench.client = jack_client_open(
        name.c_str(), static_cast<jack_options_t>(JackNoStartServer | JackUseExactName), nullptr);
    if (bench.client == nullptr) {
        std::cerr << "virtual_bench: no JACK server, or the name is taken\n";
        return 1;
    }
    for (std::size_t c = 0; c < channels; ++c) {
        const std::string number = std::to_string(c + 1);
        bench.delay[c].assign(delay_frames, 0.0F);
        bench.in[c] = jack_port_register(bench.client, ("in_" + number).c_str(), JACK_DEFAULT_AUDIO_TYPE,
                                         JackPortIsInput | JackPortIsTerminal, 0);
        bench.out[c] = jack_port_register(bench.client, ("out_" + number).c_str(), JACK_DEFAULT_AUDIO_TYPE,
                                          JackPortIsOutput | JackPortIsTerminal, 0);
    }
    jack_set_process_callback(bench.client, process, &bench);
    if (jack_activate(bench.client) != 0) return 1;
    std::cout << std::setprecision(15) << "ready" << std::endl;

    std::string typed;
    bool input_open = true;
    for (bool on = true; on;) {
        pollfd input{STDIN_FILENO, POLLIN, 0};
        if (input_open && poll(&input, 1, 5) > 0) {
            char letter = 0;
            if (read(STDIN_FILENO, &letter, 1) <= 0) {
                input_open = false;
                on = false;  // whoever started this is gone
            } else if (letter == '\n') {
                on = obey(bench, typed);
                typed.clear();
            } else {
                typed += letter;
            }
        }
        const double since = bench.first_sound_s < 0.0 ? -1.0 : now_s() - bench.first_sound_s;
        for (auto& [at, command] : later) {
            if (command.empty() || since < at) continue;
            on = obey(bench, command) && on;
            command.clear();
        }
    }
    jack_client_close(bench.client);
    return 0;
}

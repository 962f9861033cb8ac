#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <deque>
#include <nlohmann/json.hpp>

#include "capture/device/bench_sound.h"
#include "cli/commands/cautions.h"
#include "cli/commands/commands.h"
#include "cli/commands/live/sound_choice.h"
#include "cli/commands/terminal/questions.h"
#include "cli/commands/terminal/quit_key.h"
#include "cli/files/bench/bench_file.h"
#include "cli/files/toml/nearest.h"
#include "cli/measures/recording/meter.h"

namespace assay::cli {

namespace {

using capture::FaultKind;
using capture::Result;

constexpr double stretch_s = 0.2;
constexpr double hop_s = 0.08;  // twelve and a half updates a second
constexpr double confirm_above_dbfs = -20.0;

struct Held {
    // Highest readings; clean ones are from while nothing clipped and no lamp was lit. No watts without a
    // load.
    double voltage_v = 0.0;
    std::optional<double> clean_voltage_v{};
    std::optional<double> power_w{};
    std::optional<double> clean_power_w{};
    int overloads = 0;
};

Result<std::vector<std::size_t>> loads_to_watch(const capture::Bench& bench, const std::string& name) {
    std::vector<std::size_t> loads;
    std::vector<std::string> names;
    for (std::size_t k = 0; k < bench.loads.size(); ++k) {
        names.push_back(bench.loads[k].name);
        if (name.empty() || bench.loads[k].name == name) loads.push_back(k);
    }
    if (bench.loads.empty())
        return capture::fail(FaultKind::bad_input_file, "the bench has no [[load]] to watch",
                             "add one, resistance_ohm = inf if nothing is connected");
    if (loads.empty())
        return capture::fail(FaultKind::bad_arguments, "the bench has no load " + in_quotes(name),
                             suggestion(name, names));
    return loads;
}

/// Digits five lines high, of one character: read from across the bench, on any terminal.
std::array<std::string, 5> large(const std::string& text) {
    static const std::string glyphs = "0123456789.- ";
    static const std::array<std::array<const char*, 5>, 13> shapes{{
        {"#####", "#   #", "#   #", "#   #", "#####"},
        {"  #  ", " ##  ", "  #  ", "  #  ", " ### "},
        {"#####", "    #", "#####", "#    ", "#####"},
        {"#####", "    #", " ####", "    #", "#####"},
        {"#   #", "#   #", "#####", "    #", "    #"},
        {"#####", "#    ", "#####", "    #", "#####"},
        {"#####", "#    ", "#####", "#   #", "#####"},
        {"#####", "    #", "   # ", "  #  ", "  #  "},
        {"#####", "#   #", "#####", "#   #", "#####"},
        {"#####", "#   #", "#####", "    #", "#####"},
        {"  ", "  ", "  ", "  ", "##"},
        {"     ", "     ", "#####", "     ", "     "},
        {"   ", "   ", "   ", "   ", "   "},
    }};
    std::array<std::string, 5> rows;
    for (const char letter : text) {
        const std::size_t at = glyphs.find(letter);
        if (at == std::string::npos) continue;
        for (std::size_t row = 0; row < rows.size(); ++row) rows[row] += std::string(shapes[at][row]) + "  ";
    }
    return rows;
}

std::string four_digits(double value) {
    const int before = value >= 1.0 ? static_cast<int>(std::floor(std::log10(value))) + 1 : 1;
    return fmt::format("{:.{}f}", value, std::clamp(4 - before, 0, 3));
}

const char* clip_words(const MeterReading& reading) {
    if (reading.overload) return "unknown";
    if (reading.clips_positive && reading.clips_negative) return "both";
    if (reading.clips_positive) return "positive";
    if (reading.clips_negative) return "negative";
    return "no";
}

std::string percent(const std::optional<double>& ratio) {
    if (!ratio) return "-";
    const double value = 100.0 * *ratio;
    if (value < 0.0001) return "below 0.0001 %";
    return fmt::format("{:.{}f} %", value, value < 0.1 ? 4 : value < 10.0 ? 3 : 1);
}

std::string state_line(const MeterReading& reading) {
    if (!reading.signal) return "no steady tone";
    std::string text = fmt::format("{:.1f} Hz   THD {}   THD+N {}", reading.frequency_hz,
                                   percent(reading.thd), percent(reading.thd_plus_noise));
    if (!reading.steady) text += "   (level is moving)";
    return text;
}

std::string warning_line(const MeterReading& reading, const Held& held, const std::string& lamps) {
    std::string text = reading.overload ? "RECORDER OVERLOAD: nothing here can be trusted"
                       : std::string(clip_words(reading)) != "no"
                           ? fmt::format("AMPLIFIER CLIPS ({})", clip_words(reading))
                           : std::string(reading.signal ? "waveform clean" : "nothing to judge");
    text += fmt::format("   card {:.1f} dBFS", reading.peak_dbfs);
    if (held.overloads > 0) text += fmt::format("   overloads so far: {}", held.overloads);
    return text + lamps;
}

/// Parts that stand three blanks apart, on as many rows as the width needs: a row that the terminal broke by
/// itself would not be counted when the next reading is drawn over this one.
std::vector<std::string> rows_within(const std::string& text, std::size_t columns) {
    const std::string apart = "   ";
    std::vector<std::string> rows;
    std::string row;
    for (std::size_t at = 0; at < text.size();) {
        const std::size_t end = std::min(text.find(apart, at + apart.size()), text.size());
        const std::string part = text.substr(at, end - at);
        if (!row.empty() && row.size() + part.size() >= columns) {
            rows.push_back(row);
            row = "  " + part.substr(std::min(part.find_first_not_of(' '), part.size()));
        } else {
            row += part;
        }
        at = end;
    }
    rows.push_back(row);
    for (std::string& each : rows) {
        std::size_t end = std::min(each.size(), columns - 1);
        while (end < each.size() && end > 0 && (static_cast<unsigned char>(each[end]) & 0xC0U) == 0x80U)
            --end;  // no half of a letter
        each.resize(end);
    }
    return rows;
}

class Readout {
  public:
    Readout(const Manner& manner, bool key) : manner_(manner), terminal_(isatty(STDOUT_FILENO) != 0) {
        ending_ = key ? "  q ends" : "  Ctrl-C ends";
    }

    void show(double at_s, const capture::Load& load, const MeterReading& reading, const Held& held,
              const std::vector<std::pair<std::string, bool>>& lamps) {
        if (manner_.json) return json_line(at_s, load, reading, held, lamps);
        std::string lit;
        for (const auto& [name, on] : lamps) lit += fmt::format("   {}: {}", name, on ? "ON" : "off");
        const std::string figure =
            reading.power_w ? four_digits(*reading.power_w) : four_digits(reading.voltage_v);
        if (!terminal_) {
            lines_.push_back(fmt::format(
                "{:8.2f} s  {}: {} V  {}  {}  {}", at_s, load.name, four_digits(reading.voltage_v),
                reading.power_w ? four_digits(*reading.power_w) + " W" : std::string("no load"),
                state_line(reading), warning_line(reading, held, lit)));
            return;
        }
        lines_.emplace_back();
        lines_.push_back(load.name);
        for (const std::string& row : large(figure)) lines_.push_back("  " + row);
        lines_.back() += reading.power_w ? " W" : " V";
        lines_.push_back(fmt::format("  {} V   {}", four_digits(reading.voltage_v), state_line(reading)));
        lines_.push_back("  " + warning_line(reading, held, lit));
        const auto in_unit = [](const std::optional<double>& value, const char* unit) {
            return value ? four_digits(*value) + unit : std::string("none yet");
        };
        const std::string watts = held.power_w ? "   " + four_digits(*held.power_w) + " W" : std::string();
        lines_.push_back(fmt::format(
            "  held: {} V{}   highest while clean: {}", four_digits(held.voltage_v), watts,
            reading.power_w ? in_unit(held.clean_power_w, " W") : in_unit(held.clean_voltage_v, " V")));
    }

    void flush() {
        std::string text;
        if (terminal_ && !manner_.json) {
            lines_.push_back(ending_);
            const std::size_t columns = terminal_columns(STDOUT_FILENO).value_or(80);
            if (drawn_ > 0) text += fmt::format("\033[{}A", drawn_);
            drawn_ = 0;
            for (const std::string& line : lines_) {
                for (const std::string& row : rows_within(line, columns)) {
                    text += row + "\033[K\n";
                    ++drawn_;
                }
            }
            text += "\033[J";
        } else {
            for (const std::string& line : lines_) text += line + "\n";
        }
        lines_.clear();
        std::fputs(text.c_str(), stdout);
        std::fflush(stdout);
    }

  private:
    void json_line(double at_s, const capture::Load& load, const MeterReading& reading, const Held& held,
                   const std::vector<std::pair<std::string, bool>>& lamps) {
        nlohmann::ordered_json line;
        const auto optional = [](const std::optional<double>& value, double scale) {
            return value ? nlohmann::ordered_json(scale * *value) : nlohmann::ordered_json(nullptr);
        };
        line["at_s"] = at_s;
        line["load"] = load.name;
        line["signal"] = reading.signal;
        line["steady"] = reading.steady;
        line["voltage_v"] = reading.voltage_v;
        line["power_w"] = optional(reading.power_w, 1.0);
        line["frequency_hz"] =
            reading.signal ? nlohmann::ordered_json(reading.frequency_hz) : nlohmann::ordered_json(nullptr);
        line["thd_percent"] = optional(reading.thd, 100.0);
        line["thd_plus_noise_percent"] = optional(reading.thd_plus_noise, 100.0);
        line["amplifier_clips"] = clip_words(reading);
        line["recorder_overload"] = reading.overload;
        line["peak_dbfs"] = reading.peak_dbfs;
        line["held_voltage_v"] = held.voltage_v;
        line["held_clean_voltage_v"] = optional(held.clean_voltage_v, 1.0);
        line["held_power_w"] = optional(held.power_w, 1.0);
        line["held_clean_power_w"] = optional(held.clean_power_w, 1.0);
        for (const auto& [name, on] : lamps) line["clip_detectors"][name] = on;
        lines_.push_back(line.dump(-1, ' ', false, nlohmann::ordered_json::error_handler_t::replace));
    }

    Manner manner_;
    bool terminal_;
    std::vector<std::string> lines_{};
    std::size_t drawn_ = 0;
    std::string ending_{};
};

Result<std::optional<capture::SteadySound>> sound_of(const WatchOptions& options, const capture::Bench& bench,
                                                     const std::vector<std::size_t>& loads,
                                                     const Manner& manner) {
    if (!options.play_dbfs) return std::optional<capture::SteadySound>{};
    capture::SteadySound sound{options.frequency_hz, *options.play_dbfs, {}};
    for (const std::size_t load : loads) {
        for (const std::size_t output : bench.loads[load].driven_by) {
            if (std::find(sound.outputs.begin(), sound.outputs.end(), output) == sound.outputs.end())
                sound.outputs.push_back(output);
            const double limit = bench.outputs[output].limit_dbfs();
            if (sound.level_dbfs <= limit + 1e-9) continue;
            return capture::fail(
                FaultKind::bad_arguments,
                fmt::format("--play {:.2f} dBFS is above the {:.2f} dBFS that output \"{}\" allows",
                            sound.level_dbfs, limit, bench.outputs[output].name),
                "lower it, or raise the output's maximum if the unit bears it");
        }
    }
    say(manner, cautions_text());
    if (sound.level_dbfs <= confirm_above_dbfs || options.yes) return std::optional(sound);
    auto questions = Questions::open(std::nullopt);
    if (!questions) return tl::unexpected<capture::Fault>(questions.error());
    const auto yes = questions->yes(
        {"proceed", fmt::format("Play {:.0f} Hz at {:.1f} dBFS?", sound.frequency_hz, sound.level_dbfs), ""});
    if (!yes) return tl::unexpected<capture::Fault>(yes.error());
    if (!*yes) return capture::fail(FaultKind::stopped, "stopped by hand: nothing was played");
    return std::optional(sound);
}

}  // namespace

int run_watch(const WatchOptions& options, const Manner& manner) {
    const auto bench = read_bench(options.bench);
    if (!bench) return report(bench.error());
    const auto loads = loads_to_watch(*bench, options.load);
    if (!loads) return report(loads.error());
    if (bench->source == capture::Source::simulated)
        return report({FaultKind::bad_input_file,
                       options.bench.string() + ": source: a simulated bench has nothing to watch",
                       std::nullopt, "set source = \"device\" and name the sound card"});
    const auto sound = sound_of(options, *bench, *loads, manner);
    if (!sound) return report(sound.error());
    const auto choice = choose_sound(*bench, options.bench.string(), sound->has_value());
    if (!choice) return report(choice.error());
    auto running = capture::BenchSound::open(*bench, choice->library, choice->devices, *sound);
    if (!running) return report(running.error());

    const double rate = bench->sample_rate_hz;
    const auto hop = static_cast<std::size_t>(hop_s * rate);
    const auto stretch = static_cast<std::size_t>(stretch_s * rate);
    const auto width = static_cast<std::size_t>((*running)->channels());
    std::vector<float> block(hop * width);
    std::vector<std::vector<float>> channels(width);
    std::vector<Held> held(bench->loads.size());
    QuitKey quit;
    Readout readout(manner, quit.listens());
    double at_s = 0.0;
    while ((options.seconds <= 0.0 || at_s < options.seconds) && !quit.pressed()) {
        const auto more = (*running)->next(block, stop_requested());
        if (!more) return report(more.error());
        if (!*more) break;
        at_s += hop_s;
        for (std::size_t c = 0; c < width; ++c) {
            for (std::size_t n = 0; n < hop; ++n) channels[c].push_back(block[n * width + c]);
            if (channels[c].size() > stretch)
                channels[c].erase(channels[c].begin(),
                                  channels[c].end() - static_cast<std::ptrdiff_t>(stretch));
        }
        // A slow machine shows fewer readings, never late ones.
        if (channels.front().size() < stretch ||
            static_cast<double>((*running)->behind()) > 2.0 * hop_s * rate)
            continue;
        std::vector<std::pair<std::string, bool>> lamps;
        for (const capture::Input& input : bench->inputs) {
            if (input.role == capture::InputRole::clip_detector)
                lamps.emplace_back(
                    input.name, detector_shows(input, channels[static_cast<std::size_t>(input.channel - 1)]));
        }
        const bool lit = std::ranges::any_of(lamps, [](const auto& lamp) { return lamp.second; });
        for (const std::size_t index : *loads) {
            const MeterReading reading = meter_reading(*bench, bench->loads[index], channels, rate);
            Held& hold = held[index];
            hold.voltage_v = std::max(hold.voltage_v, reading.voltage_v);
            if (reading.power_w) hold.power_w = std::max(hold.power_w.value_or(0.0), *reading.power_w);
            const bool clips = reading.clips_positive || reading.clips_negative || lit;
            if (reading.steady && !reading.overload && !clips) {
                hold.clean_voltage_v = std::max(hold.clean_voltage_v.value_or(0.0), reading.voltage_v);
                if (reading.power_w)
                    hold.clean_power_w = std::max(hold.clean_power_w.value_or(0.0), *reading.power_w);
            }
            if (reading.overload) ++hold.overloads;
            readout.show(at_s, bench->loads[index], reading, hold, lamps);
        }
        readout.flush();
    }
    (*running)->end();
    return stop_requested() ? exit_stopped : exit_done;
}

}  // namespace assay::cli

#include "cli/commands/calibrate/bench_change.h"

#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <ctime>
#include <nlohmann/json.hpp>
#include <numeric>

#include "cli/commands/new_file.h"
#include "cli/files/bench/bench_file.h"
#include "cli/files/posix.h"

namespace assay::cli {

using capture::FaultKind;
using capture::Result;

std::string today() {
    return fmt::format("{:%Y-%m-%d}", fmt::localtime(std::time(nullptr)));
}

std::string json_text(const std::string& text) {
    return nlohmann::ordered_json(text).dump(-1, ' ', false,
                                             nlohmann::ordered_json::error_handler_t::replace);
}

Result<void> write_bench_edits(const std::filesystem::path& bench, const std::string& kind,
                               const std::string& name, const BenchEdits& edits) {
    const auto edited = edited_bench(bench, kind, name, edits);
    if (!edited) return tl::unexpected<capture::Fault>(edited.error());
    return write_file_safely(bench, *edited);
}

Result<std::string> edited_bench(const std::filesystem::path& bench, const std::string& kind,
                                 const std::string& name, const BenchEdits& edits) {
    auto edited = edit_bench(bench, kind, name, edits);
    if (!edited) return edited;
    if (const auto again = parse_bench(*edited, bench.string()); !again)
        return tl::unexpected<capture::Fault>(again.error());
    return edited;
}

Result<void> check_meter(const capture::Bench& bench, const std::string& name, double frequency_hz) {
    const auto found =
        find_part(bench.meters, name, "meter", "add a [[meter]] of that name to the bench file");
    if (!found) return tl::unexpected<capture::Fault>(found.error());
    const capture::Meter& meter = bench.meters[*found];
    if (!meter.ac_max_hz || frequency_hz <= *meter.ac_max_hz) return {};
    return capture::fail(FaultKind::bad_arguments,
                         fmt::format("the tone is {:.1f} Hz, the meter \"{}\" is good up to {:.6g} Hz",
                                     frequency_hz, meter.name, *meter.ac_max_hz),
                         "use a tone of 50 to 100 Hz");
}

Result<std::string> meter_that_read(const capture::Bench& bench, const std::string& named,
                                    double frequency_hz, const Manner& manner) {
    if (!named.empty()) {
        if (const auto fits = check_meter(bench, named, frequency_hz); !fits)
            return tl::unexpected<capture::Fault>(fits.error());
        return named;
    }
    if (bench.meters.size() == 1 && check_meter(bench, bench.meters[0].name, frequency_hz))
        return bench.meters[0].name;
    if (bench.meters.empty()) return std::string();
    const std::string why =
        bench.meters.size() > 1
            ? "the bench has several meters and none was named with --meter"
            : fmt::format("the meter \"{}\" is good up to {:.6g} Hz, the tone is {:.1f} Hz",
                          bench.meters[0].name, *bench.meters[0].ac_max_hz, frequency_hz);
    say(manner, fmt::format("note: {}; the scale keeps the uncertainty that the bench file states", why));
    return std::string();
}

void add_meter(const std::string& meter, BenchEdits& edits) {
    if (meter.empty()) return;
    edits.emplace_back("meter", toml_text(meter));
    edits.emplace_back("uncertainty_percent", std::nullopt);
    edits.emplace_back("tolerance_percent", std::nullopt);
}

void remark_on_change(const capture::Input& input, double scale, const Manner& manner) {
    constexpr double suspicious = 4.0;  // a guess at a card's full scale is rarely that far off
    const double times = std::max(scale / input.volts_at_full_scale, input.volts_at_full_scale / scale);
    if (!(times > suspicious)) return;
    say(manner,
        fmt::format(
            "note: that is {:.3g} times {} than the bench file had. Before you rely on it, look at "
            "the meter (AC volts, its range, the tip of the same probe), at the attenuation of {:.6g} "
            "that the file states for \"{}\", and at the recorder's gain.",
            times, scale > input.volts_at_full_scale ? "more" : "less", input.attenuation, input.name));
}

std::vector<std::size_t> all_outputs(const capture::Bench& bench) {
    std::vector<std::size_t> outputs(bench.outputs.size());
    std::iota(outputs.begin(), outputs.end(), std::size_t{0});
    return outputs;
}

}  // namespace assay::cli

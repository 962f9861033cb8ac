#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "capture/device/sound_devices.h"
#include "cli/commands/commands.h"

namespace assay::cli {

namespace {

std::string rates_text(const std::vector<double>& rates) {
    std::string text;
    for (const double rate : rates) text += (text.empty() ? "" : ", ") + fmt::format("{:g}", rate / 1000.0);
    return text.empty() ? "no usual rate (in use by another program?)" : text + " kHz";
}

std::string channels_text(const capture::SoundDevice& device) {
    if (device.plays_and_records())
        return fmt::format("records {}, plays {}: both on one clock", device.inputs, device.outputs);
    if (device.inputs > 0) return fmt::format("records {}", device.inputs);
    if (device.outputs > 0) return fmt::format("plays {}", device.outputs);
    return "no channels";
}

}  // namespace

int run_devices(const Manner& manner) {
    auto library = capture::SoundLibrary::start();
    if (!library) return report(library.error());
    const std::vector<capture::SoundDevice> devices = capture::list_devices(**library);
    if (manner.json) {
        nlohmann::ordered_json list = nlohmann::ordered_json::array();
        for (const capture::SoundDevice& device : devices) {
            nlohmann::ordered_json entry;
            entry["name"] = device.name;
            entry["host_api"] = device.host_api;
            entry["inputs"] = device.inputs;
            entry["outputs"] = device.outputs;
            entry["rates_hz"] = capture::rates_of(**library, device);
            entry["default_rate_hz"] = device.default_rate_hz;
            entry["plays_and_records_on_one_clock"] = device.plays_and_records();
            list.push_back(std::move(entry));
        }
        print_result(list.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n");
        return exit_done;
    }
    if (devices.empty()) {
        print_text(
            "No sound device found. Connect one, load its driver, or start the JACK server.\n"
            "Without one: `assay tones` and recordings made elsewhere, or source = \"simulated\".\n");
        return exit_done;
    }
    std::string text;
    std::string api;
    std::size_t width = 0;
    for (const capture::SoundDevice& device : devices) width = std::max(width, device.name.size());
    for (const capture::SoundDevice& device : devices) {
        if (device.host_api != api) {
            api = device.host_api;
            text += api + "\n";
        }
        text += fmt::format("  {:<{}}  {}; {}\n", one_line(device.name), width, channels_text(device),
                            rates_text(capture::rates_of(**library, device)));
    }
    text +=
        "\nFor playback_device and record_device of the bench file a part of a name will do.\n"
        "Devices of different names run from different clocks, unless both belong to JACK.\n"
        "Prefer a card itself (hw:) to default, plug and mixers: those change rates and levels without a "
        "word.\n";
    print_text(text);
    return exit_done;
}

}  // namespace assay::cli

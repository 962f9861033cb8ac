#include "cli/commands/live/sound_choice.h"

#include <fmt/format.h>

#include "cli/files/toml/nearest.h"
#include "cli/files/utf8.h"

namespace assay::cli {

namespace {

using capture::FaultKind;
using capture::SoundDevice;

std::string full_name(const SoundDevice& device) {
    return device.host_api + ": " + device.name;
}

}  // namespace

capture::Result<SoundDevice> choose_device(const std::vector<SoundDevice>& devices, const std::string& words,
                                           Direction direction, const std::string& key) {
    const bool play = direction == Direction::play;
    const auto refuse = [&](const std::string& text, const std::string& mend) {
        return capture::fail(FaultKind::bad_input_file, key + ": " + text, mend);
    };
    if (words.empty())
        return refuse("no device is named", "name one as `assay devices` lists it, or a part of it");
    std::vector<SoundDevice> found;
    std::vector<std::string> names;
    bool wrong_way = false;
    for (const SoundDevice& device : devices) {
        const bool fits = lower_case(full_name(device)).find(lower_case(words)) != std::string::npos;
        if ((play ? device.outputs : device.inputs) == 0) {
            wrong_way = wrong_way || fits;
            continue;
        }
        names.push_back(device.name);
        if (fits) found.push_back(device);
    }
    if (found.size() > 1) {
        std::vector<SoundDevice> whole;
        for (const SoundDevice& device : found) {
            if (lower_case(device.name) == lower_case(words) ||
                lower_case(full_name(device)) == lower_case(words))
                whole.push_back(device);
        }
        if (whole.size() == 1) return whole.front();
        std::string list;
        for (const SoundDevice& device : found)
            list += (list.empty() ? "" : ", ") + in_quotes(full_name(device));
        return refuse(fmt::format("{} fits {} devices: {}", in_quotes(words), found.size(), list),
                      "write more of the name, the host API before it if need be");
    }
    if (found.size() == 1) return found.front();
    if (wrong_way) {
        return refuse(fmt::format("{} does not {}", in_quotes(words), play ? "play" : "record"),
                      "see `assay devices`");
    }
    if (names.empty())
        return refuse(fmt::format("no sound device of this computer can {}", play ? "play" : "record"),
                      "connect one, start its driver or the JACK server, then see `assay devices`");
    return refuse(fmt::format("no sound device {} that can {}", in_quotes(words), play ? "play" : "record"),
                  suggestion(words, names) + " (see `assay devices`)");
}

capture::Result<SoundChoice> choose_sound(const capture::Bench& bench, const std::string& bench_file,
                                          bool plays) {
    SoundChoice choice;
    auto library = capture::SoundLibrary::start();
    if (!library) return tl::unexpected<capture::Fault>(library.error());
    choice.library = *library;
    const std::vector<SoundDevice> devices = capture::list_devices(**library);
    auto record =
        choose_device(devices, bench.record_device, Direction::record, bench_file + ": record_device");
    if (!record) return tl::unexpected<capture::Fault>(record.error());
    choice.devices.record = *record;
    if (!plays) return choice;
    auto playback =
        choose_device(devices, bench.playback_device, Direction::play, bench_file + ": playback_device");
    if (!playback) return tl::unexpected<capture::Fault>(playback.error());
    choice.devices.playback = *playback;
    return choice;
}

}  // namespace assay::cli

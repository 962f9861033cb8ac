#include "capture/device/sound_devices.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <portaudio.h>
#include <unistd.h>

#include <algorithm>
#include <array>

namespace assay::capture {

namespace {

/// The libraries below PortAudio write to stderr what they tried in vain. It would drown the one line that an
/// error of this program is.
class QuietStderr {
  public:
    QuietStderr() : kept_(dup(STDERR_FILENO)) {
        const int nowhere = open("/dev/null", O_WRONLY | O_CLOEXEC);
        if (kept_ >= 0 && nowhere >= 0) dup2(nowhere, STDERR_FILENO);
        if (nowhere >= 0) close(nowhere);
    }
    QuietStderr(const QuietStderr&) = delete;
    QuietStderr& operator=(const QuietStderr&) = delete;
    ~QuietStderr() {
        if (kept_ < 0) return;
        dup2(kept_, STDERR_FILENO);
        close(kept_);
    }

  private:
    int kept_ = -1;
};

PaStreamParameters parameters(const SoundDevice& device, int channels) {
    PaStreamParameters wanted{};
    wanted.device = device.index;
    wanted.channelCount = channels;
    wanted.sampleFormat = paFloat32;
    wanted.suggestedLatency = device.latency_s;
    return wanted;
}

}  // namespace

Result<std::shared_ptr<SoundLibrary>> SoundLibrary::start() {
    const QuietStderr quiet;
    const PaError error = Pa_Initialize();
    if (error != paNoError) {
        return fail(FaultKind::internal,
                    fmt::format("the sound system does not start ({})", Pa_GetErrorText(error)),
                    "see whether the sound card's driver is loaded, or the JACK server runs");
    }
    return std::shared_ptr<SoundLibrary>(new SoundLibrary);
}

SoundLibrary::~SoundLibrary() {
    if (given_up_) return;
    const QuietStderr quiet;
    Pa_Terminate();
}

std::vector<SoundDevice> list_devices(const SoundLibrary& /*library*/) {
    std::vector<SoundDevice> devices;
    const int count = Pa_GetDeviceCount();
    for (int index = 0; index < count; ++index) {
        const PaDeviceInfo* info = Pa_GetDeviceInfo(index);
        if (info == nullptr) continue;
        const PaHostApiInfo* api = Pa_GetHostApiInfo(info->hostApi);
        SoundDevice device;
        device.index = index;
        device.host_api = api == nullptr ? "" : api->name;
        device.name = info->name;
        device.inputs = info->maxInputChannels;
        device.outputs = info->maxOutputChannels;
        device.default_rate_hz = info->defaultSampleRate;
        device.latency_s = std::max({info->defaultHighInputLatency, info->defaultHighOutputLatency, 0.1});
        devices.push_back(std::move(device));
    }
    return devices;
}

std::vector<double> rates_of(const SoundLibrary& /*library*/, const SoundDevice& device) {
    constexpr std::array usual_hz{44100.0, 48000.0, 88200.0, 96000.0, 176400.0, 192000.0};
    const QuietStderr quiet;
    std::vector<double> rates;
    for (const double rate_hz : usual_hz) {
        const PaStreamParameters in = parameters(device, device.inputs);
        const PaStreamParameters out = parameters(device, device.outputs);
        if (Pa_IsFormatSupported(device.inputs > 0 ? &in : nullptr, device.outputs > 0 ? &out : nullptr,
                                 rate_hz) == paFormatIsSupported)
            rates.push_back(rate_hz);
    }
    return rates;
}

bool one_clock(const SoundDevice& first, const SoundDevice& second) {
    if (first.index == second.index) return true;
    return first.one_clock_with_all() && second.one_clock_with_all();
}

}  // namespace assay::capture

#include "capture/recording.h"

#include <fmt/format.h>
#include <sndfile.h>

#include <algorithm>
#include <cmath>
#include <system_error>

#include "capture/sound_file_handle.h"
#include "capture/wav_header.h"

namespace assay::capture {

namespace {

constexpr int lowest_rate_hz = 44100;
constexpr int highest_rate_hz = 192000;
constexpr int most_channels = 32;
constexpr std::int64_t read_block_frames = 16384;

tl::unexpected<Fault> distrust(const std::filesystem::path& path, std::string_view what,
                               std::string_view mend) {
    return fail(FaultKind::untrusted_capture, fmt::format("{}: {}", path.string(), what), std::string(mend));
}

struct SampleType {
    std::string_view name;
    int bits = 0;
    bool floating = false;
};

std::optional<SampleType> sample_type(int format) {
    switch (format & SF_FORMAT_SUBMASK) {
        case SF_FORMAT_PCM_16:
            return SampleType{"pcm-16", 16, false};
        case SF_FORMAT_PCM_24:
            return SampleType{"pcm-24", 24, false};
        case SF_FORMAT_PCM_32:
            return SampleType{"pcm-32", 32, false};
        case SF_FORMAT_FLOAT:
            return SampleType{"float-32", 32, true};
        case SF_FORMAT_DOUBLE:
            return SampleType{"float-64", 64, true};
        default:
            return std::nullopt;
    }
}

std::optional<std::string_view> container(int format) {
    switch (format & SF_FORMAT_TYPEMASK) {
        case SF_FORMAT_WAV:
        case SF_FORMAT_WAVEX:
            return "wav";
        case SF_FORMAT_RF64:
            return "rf64";
        case SF_FORMAT_FLAC:
            return "flac";
        case SF_FORMAT_AIFF:
            return "aiff";
        case SF_FORMAT_W64:
            return "w64";
        default:
            return std::nullopt;
    }
}

Result<void> check_is_there(const std::filesystem::path& path) {
    std::error_code error;
    const auto status = std::filesystem::status(path, error);
    if (!std::filesystem::exists(status))
        return distrust(path, "is not there", "check the name of the recording");
    if (std::filesystem::is_directory(status)) {
        return distrust(path, "is a folder, not a recording", "name the sound file in it");
    }
    const auto bytes = std::filesystem::file_size(path, error);
    if (!error && bytes == 0)
        return distrust(path, "is empty (0 bytes)", "record again, or copy the file again");
    return {};
}

// The library mends a wrong length without a word, so the header is read beside it.
Result<void> check_wav_length(Recording& recording) {
    const auto length = read_wav_length(recording.path);
    if (!length) return {};
    const double bytes_per_frame = recording.bits / 8.0 * recording.channels;
    const double announced_s =
        static_cast<double>(length->announced_bytes) / bytes_per_frame / recording.rate_hz;
    const double held_s = static_cast<double>(length->held_bytes) / bytes_per_frame / recording.rate_hz;
    switch (length->verdict) {
        case WavLength::Verdict::whole:
            return {};
        case WavLength::Verdict::cut_short:
            return distrust(recording.path,
                            fmt::format("cut short: the header says {:.3f} s, the file holds {:.3f} s",
                                        announced_s, held_s),
                            "copy the file again from the recorder, or record again");
        case WavLength::Verdict::wrapped:
            return distrust(recording.path, "grew past 4 GiB, which a WAV header cannot say",
                            "record shorter, or as RF64 or FLAC");
        case WavLength::Verdict::no_samples:
            return distrust(recording.path, "holds no samples (no data chunk)",
                            "record again, or copy the file again");
        case WavLength::Verdict::unknown:
            if (recording.frames == 0) {
                return distrust(
                    recording.path,
                    fmt::format("the header says 0 s though the file holds {:.3f} s: the recorder was "
                                "killed before it closed the file",
                                held_s),
                    "let the recorder mend the file, or record again and stop it by its own button");
            }
            recording.flags.emplace_back(
                fmt::format("the header gives no length, as a killed recorder leaves it; the {:.3f} s that "
                            "are there are used",
                            held_s));
            return {};
    }
    return {};
}

// A file that was cut is found by asking for its last frame; in FLAC only that shows it.
Result<void> check_last_frame(SNDFILE* file, const Recording& recording) {
    std::vector<float> frame(static_cast<std::size_t>(recording.channels));
    if (sf_seek(file, recording.frames - 1, SEEK_SET) == recording.frames - 1 &&
        sf_readf_float(file, frame.data(), 1) == 1) {
        return {};
    }
    return distrust(recording.path,
                    fmt::format("cut short or damaged: the header says {:.3f} s, but the end cannot be read",
                                recording.duration_s()),
                    "copy the file again from the recorder, or record again");
}

Result<Recording> describe(SNDFILE* file, const SF_INFO& info, const std::filesystem::path& path) {
    const auto kind = container(info.format);
    const auto type = sample_type(info.format);
    if (!kind || !type) {
        return distrust(path, "its format loses what is to be measured (lossy, or 8 bits)",
                        "record as WAV or FLAC with 16 or 24 bits");
    }
    if (info.samplerate < lowest_rate_hz || info.samplerate > highest_rate_hz) {
        return distrust(path,
                        fmt::format("a sample rate of {} Hz is outside 44100 to 192000 Hz", info.samplerate),
                        "record at 48000 or 96000 Hz");
    }
    if (info.channels < 1 || info.channels > most_channels) {
        return distrust(path, fmt::format("{} channels; 1 to {} can be read", info.channels, most_channels),
                        "record fewer channels");
    }
    Recording recording{.path = path,
                        .rate_hz = static_cast<double>(info.samplerate),
                        .channels = info.channels,
                        .frames = info.frames,
                        .format = fmt::format("{} {}", *kind, type->name),
                        .bits = type->bits,
                        .floating = type->floating};
    if (auto checked = check_wav_length(recording); !checked) return tl::unexpected(checked.error());
    if (recording.frames <= 0)
        return distrust(path, "holds no samples", "record again, or copy the file again");
    if (info.frames == SF_COUNT_MAX) {
        return distrust(path, "its header does not say how long it is", "encode it again, or use WAV");
    }
    if (auto checked = check_last_frame(file, recording); !checked) return tl::unexpected(checked.error());
    return recording;
}

}  // namespace

Result<Recording> open_recording(const std::filesystem::path& path) {
    if (auto there = check_is_there(path); !there) return tl::unexpected(there.error());
    SF_INFO info{};
    SNDFILE* file = sf_open(path.string().c_str(), SFM_READ, &info);
    if (file == nullptr) {
        if (const auto length = read_wav_length(path);
            length && length->verdict == WavLength::Verdict::no_samples) {
            return distrust(path, "holds no samples (no data chunk)", "record again, or copy the file again");
        }
        return distrust(path, fmt::format("cannot be read as sound ({})", sf_strerror(nullptr)),
                        "give a WAV or FLAC file as the recorder wrote it");
    }
    auto recording = describe(file, info, path);
    sf_close(file);
    return recording;
}

Result<RecordingReader> RecordingReader::open(const Recording& recording) {
    if (auto there = check_is_there(recording.path); !there) return tl::unexpected(there.error());
    SF_INFO info{};
    SNDFILE* file = sf_open(recording.path.string().c_str(), SFM_READ, &info);
    if (file == nullptr) {
        return distrust(recording.path, fmt::format("cannot be read as sound ({})", sf_strerror(nullptr)),
                        "give a WAV or FLAC file as the recorder wrote it");
    }
    RecordingReader reader;
    reader.file_ = file;
    reader.channels_ = info.channels;
    reader.frames_ = info.frames;
    reader.rate_hz_ = static_cast<double>(info.samplerate);
    reader.floating_ = sample_type(info.format).value_or(SampleType{}).floating;
    reader.name_ = recording.path.string();
    if (info.channels != recording.channels || info.frames != recording.frames) {
        return distrust(recording.path, "was changed while it was in use",
                        "leave recordings alone during a run");
    }
    return reader;
}

RecordingReader::RecordingReader(RecordingReader&& other) noexcept {
    *this = std::move(other);
}

RecordingReader& RecordingReader::operator=(RecordingReader&& other) noexcept {
    std::swap(file_, other.file_);
    std::swap(channels_, other.channels_);
    std::swap(frames_, other.frames_);
    std::swap(position_, other.position_);
    std::swap(rate_hz_, other.rate_hz_);
    std::swap(floating_, other.floating_);
    std::swap(name_, other.name_);
    std::swap(interleaved_, other.interleaved_);
    return *this;
}

RecordingReader::~RecordingReader() {
    if (file_ != nullptr) sf_close(as_file(file_));
}

Result<std::vector<std::vector<float>>> RecordingReader::read(std::span<const int> channels,
                                                              std::int64_t first, std::int64_t count) {
    std::vector<std::vector<float>> out;
    if (auto done = read_into(channels, first, count, out); !done) return tl::unexpected(done.error());
    return out;
}

Result<void> RecordingReader::read_into(std::span<const int> channels, std::int64_t first, std::int64_t count,
                                        std::vector<std::vector<float>>& out) {
    const std::int64_t begin = std::clamp<std::int64_t>(first, 0, frames_);
    const std::int64_t asked = first < 0 ? count + first : count;
    const std::int64_t end = begin + std::clamp<std::int64_t>(asked, 0, frames_ - begin);
    for (const int channel : channels) {
        if (channel >= 1 && channel <= channels_) continue;
        return distrust(name_, fmt::format("has {} channel(s), channel {} is asked for", channels_, channel),
                        "record every input that the bench file lists, or correct its channel");
    }
    const auto fault_at = [&](std::int64_t frame, std::string_view what, std::string_view mend) {
        const double at_s = static_cast<double>(frame) / rate_hz_;
        return tl::unexpected(Fault{FaultKind::untrusted_capture,
                                    fmt::format("{}: at {:.3f} s: {}", name_, at_s, what), at_s,
                                    std::string(mend)});
    };
    out.resize(channels.size());
    for (auto& samples : out) samples.resize(static_cast<std::size_t>(end - begin));
    if (begin == end) return {};
    if (begin != position_ && sf_seek(as_file(file_), begin, SEEK_SET) != begin) {
        position_ = -1;
        return fault_at(begin, "this place cannot be reached",
                        "copy the file again from the recorder, or record again");
    }
    position_ = begin;
    const auto width = static_cast<std::size_t>(channels_);
    interleaved_.resize(static_cast<std::size_t>(read_block_frames) * width);
    while (position_ < end) {
        const std::int64_t want = std::min(read_block_frames, end - position_);
        const std::int64_t got = sf_readf_float(as_file(file_), interleaved_.data(), want);
        if (got != want) {
            const std::int64_t stop = position_ + std::max<std::int64_t>(got, 0);
            position_ = -1;
            return fault_at(stop, "the file is damaged or cut short from here",
                            "copy the file again from the recorder, or record again");
        }
        const auto offset = static_cast<std::size_t>(position_ - begin);
        const auto frames = static_cast<std::size_t>(got);
        for (std::size_t c = 0; c < channels.size(); ++c) {
            const float* from = interleaved_.data() + (channels[c] - 1);
            float* to = out[c].data() + offset;
            for (std::size_t i = 0; i < frames; ++i) to[i] = from[i * width];
            if (!floating_) continue;
            const auto* bad =
                std::find_if(to, to + frames, [](float value) { return !std::isfinite(value); });
            if (bad == to + frames) continue;
            const std::int64_t frame = position_ + (bad - to);
            position_ += got;
            return fault_at(frame, fmt::format("channel {} holds a sample that is not a number", channels[c]),
                            "record again as 24-bit PCM, or mend the recorder's settings");
        }
        position_ += got;
    }
    return {};
}

}  // namespace assay::capture

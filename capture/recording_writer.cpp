#include <fmt/format.h>
#include <sndfile.h>

#include <algorithm>
#include <cmath>
#include <system_error>

#include "capture/recording.h"
#include "capture/sound_file_handle.h"
#include "capture/splitmix64.h"

namespace assay::capture {

namespace {

constexpr std::size_t block_samples = 65536;
// A header that is right at most this far back costs little and saves what a killed run had recorded.
constexpr std::int64_t frames_between_headers = 1 << 20;

constexpr std::int64_t longest_plain_wav_bytes = 0xFFFF0000;

int subtype(int bits) {
    switch (bits) {
        case 16:
            return SF_FORMAT_PCM_16;
        case 24:
            return SF_FORMAT_PCM_24;
        case 32:
            return SF_FORMAT_FLOAT;
        default:
            return 0;
    }
}

/// "No space left on device" of the library's "System error : No space left on device."
std::string last_error(SNDFILE* file) {
    std::string text = sf_strerror(file);
    if (const auto colon = text.rfind(" : "); colon != std::string::npos) text.erase(0, colon + 3);
    if (text.ends_with('.')) text.pop_back();
    return text;
}

}  // namespace

Result<RecordingWriter> RecordingWriter::create(const std::filesystem::path& path, double rate_hz,
                                                int channels, int bits) {
    return create(path, WriterFormat{.rate_hz = rate_hz, .channels = channels, .bits = bits});
}

Result<RecordingWriter> RecordingWriter::create(const std::filesystem::path& path,
                                                const WriterFormat& format) {
    const int rate = static_cast<int>(std::lround(format.rate_hz));
    // RF64 from the start, turned into plain WAV on closing where 32 bits are enough for the lengths. Not
    // for float: there the library insists on a peak chunk, which holds the time of day, so that the
    // same samples would get another hash.
    const int container = format.bits == 32 ? SF_FORMAT_WAV : SF_FORMAT_RF64;
    SF_INFO info{};
    info.samplerate = rate;
    info.channels = format.channels;
    info.format = container | subtype(format.bits);
    if (subtype(format.bits) == 0 || rate <= 0 || format.channels < 1 || format.channels > 32) {
        return fail(FaultKind::internal,
                    fmt::format("{}: no sound file can have {} bits, {} channels, {} Hz", path.string(),
                                format.bits, format.channels, rate),
                    "16, 24 or 32 (float) bits, 1 to 32 channels");
    }
    RecordingWriter writer;
    writer.format_ = format;
    writer.dither_state_ = format.dither_seed.value_or(0);
    writer.path_ = path;
    writer.temporary_ = path;
    writer.temporary_ += ".part";
    SNDFILE* file = sf_open(writer.temporary_.string().c_str(), SFM_WRITE, &info);
    if (file == nullptr) {
        return fail(FaultKind::bad_arguments,
                    fmt::format("{}: cannot be written ({})", path.string(), sf_strerror(nullptr)),
                    "choose a folder that exists and can be written to");
    }
    sf_command(file, SFC_RF64_AUTO_DOWNGRADE, nullptr, SF_TRUE);
    sf_command(file, SFC_SET_CLIPPING, nullptr, SF_TRUE);
    sf_command(file, SFC_SET_ADD_PEAK_CHUNK, nullptr, SF_FALSE);
    writer.file_ = file;
    return writer;
}

RecordingWriter::RecordingWriter(RecordingWriter&& other) noexcept {
    *this = std::move(other);
}

RecordingWriter& RecordingWriter::operator=(RecordingWriter&& other) noexcept {
    std::swap(file_, other.file_);
    std::swap(format_, other.format_);
    std::swap(dither_state_, other.dither_state_);
    std::swap(frames_, other.frames_);
    std::swap(frames_in_header_, other.frames_in_header_);
    std::swap(path_, other.path_);
    std::swap(temporary_, other.temporary_);
    std::swap(scratch_, other.scratch_);
    return *this;
}

RecordingWriter::~RecordingWriter() {
    discard();
}

void RecordingWriter::discard() {
    if (file_ == nullptr) return;
    sf_close(as_file(file_));
    file_ = nullptr;
    std::error_code ignored;
    std::filesystem::remove(temporary_, ignored);
}

double RecordingWriter::triangular_dither() {
    const double first = splitmix64_uniform(dither_state_);
    return first - splitmix64_uniform(dither_state_);
}

Result<void> RecordingWriter::write_block(std::span<const float> interleaved) {
    const auto count = static_cast<sf_count_t>(interleaved.size());
    sf_count_t written = 0;
    if (format_.bits == 32) {
        written = sf_write_float(as_file(file_), interleaved.data(), count);
    } else {
        // Whole numbers in the upper bits of an int: the library passes them on bit by bit, while its
        // own scaling of floats would lose the last place at full scale.
        const double scale = std::ldexp(1.0, format_.bits - 1);
        const int shift = 1 << (32 - format_.bits);
        const bool dithered = format_.bits == 16 && format_.dither_seed.has_value();
        scratch_.resize(interleaved.size());
        for (std::size_t i = 0; i < interleaved.size(); ++i) {
            const double value =
                static_cast<double>(interleaved[i]) * scale + (dithered ? triangular_dither() : 0.0);
            scratch_[i] = static_cast<int>(std::lrint(std::clamp(value, -scale, scale - 1.0))) * shift;
        }
        written = sf_write_int(as_file(file_), scratch_.data(), count);
    }
    if (written == count) return {};
    return fail(FaultKind::not_written,
                fmt::format("{}: cannot be written further ({})", path_.string(), last_error(as_file(file_))),
                "see whether the disk is full");
}

Result<void> RecordingWriter::write(std::span<const float> interleaved) {
    const auto width = static_cast<std::size_t>(format_.channels);
    if (file_ == nullptr || interleaved.size() % width != 0) {
        return fail(FaultKind::internal,
                    fmt::format("{}: written to after its end, or in broken frames", path_.string()));
    }
    if (!std::all_of(interleaved.begin(), interleaved.end(),
                     [](float value) { return std::isfinite(value); })) {
        return fail(FaultKind::internal,
                    fmt::format("{}: a sample to be written is not a number", path_.string()));
    }
    frames_ += static_cast<std::int64_t>(interleaved.size() / width);
    if (format_.bits == 32 && frames_ * format_.channels * 4 > longest_plain_wav_bytes) {
        return fail(FaultKind::internal, fmt::format("{}: a float WAV file ends at 4 GiB", path_.string()),
                    "record with 24 bits, or shorter");
    }
    const std::size_t block = block_samples / width * width;
    for (std::size_t at = 0; at < interleaved.size(); at += block) {
        const std::size_t count = std::min(block, interleaved.size() - at);
        if (auto done = write_block(interleaved.subspan(at, count)); !done) return done;
    }
    if (frames_ - frames_in_header_ >= frames_between_headers) {
        sf_command(as_file(file_), SFC_UPDATE_HEADER_NOW, nullptr, 0);
        frames_in_header_ = frames_;
    }
    return {};
}

Result<void> RecordingWriter::finish() {
    if (file_ == nullptr) return fail(FaultKind::internal, fmt::format("{}: finished twice", path_.string()));
    sf_write_sync(as_file(file_));
    const int closed = sf_close(as_file(file_));
    file_ = nullptr;
    std::error_code error;
    if (closed == 0) std::filesystem::rename(temporary_, path_, error);
    if (closed == 0 && !error) return {};
    std::error_code ignored;
    std::filesystem::remove(temporary_, ignored);
    return fail(FaultKind::not_written,
                fmt::format("{}: cannot be completed ({})", path_.string(),
                            closed != 0 ? sf_error_number(closed) : error.message()),
                "see whether the disk is full and the folder can be written to");
}

}  // namespace assay::capture

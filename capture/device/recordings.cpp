#include "capture/device/recordings.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <span>
#include <system_error>

namespace assay::capture {

namespace {

constexpr std::array<std::string_view, 6> endings{".wav", ".flac", ".rf64", ".w64", ".aif", ".aiff"};
// What telephones and browsers write by themselves.
constexpr std::array<std::string_view, 10> compressed{".mp3", ".m4a",  ".mp4", ".aac", ".ogg",
                                                      ".oga", ".opus", ".wma", ".amr", ".webm"};

std::string lower(std::string text) {
    std::transform(text.begin(), text.end(), text.begin(),
                   [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; });
    return text;
}

bool ends_in_one_of(std::span<const std::string_view> listed, const std::filesystem::path& path) {
    return std::find(listed.begin(), listed.end(), lower(path.extension().string())) != listed.end();
}

Result<void> copy_whole(const std::filesystem::path& from, const std::filesystem::path& to) {
    std::error_code error;
    std::filesystem::path temporary = to;
    temporary += ".part";
    std::filesystem::copy_file(from, temporary, std::filesystem::copy_options::overwrite_existing, error);
    if (!error) std::filesystem::rename(temporary, to, error);
    if (!error) return {};
    std::error_code ignored;
    std::filesystem::remove(temporary, ignored);
    return fail(FaultKind::not_written,
                fmt::format("{}: cannot be copied to {} ({})", from.string(), to.string(), error.message()),
                "see whether the disk is full and the folder can be written to");
}

}  // namespace

Result<std::filesystem::path> RecordingsDevice::find(const std::string& capture_name) const {
    std::error_code error;
    std::vector<std::filesystem::path> found;
    std::string almost;
    std::string lossy;
    for (std::filesystem::directory_iterator entry(folder_, error), end; !error && entry != end;
         entry.increment(error)) {
        const std::filesystem::path& path = entry->path();
        if (ends_in_one_of(compressed, path) && lower(path.stem().string()) == lower(capture_name))
            lossy = path.filename().string();
        if (!ends_in_one_of(endings, path)) continue;
        if (path.stem() == capture_name) {
            found.push_back(path);
        } else if (lower(path.stem().string()) == lower(capture_name)) {
            almost = path.filename().string();
        }
    }
    if (error) {
        return fail(FaultKind::bad_arguments,
                    fmt::format("{}: this folder of recordings cannot be read ({})", folder_.string(),
                                error.message()),
                    "name the folder that holds the recordings");
    }
    const std::string wanted = (folder_ / capture_name).string();
    if (found.empty()) {
        if (almost.empty() && !lossy.empty()) {
            return fail(FaultKind::untrusted_capture,
                        fmt::format("{}: a compressed recording has lost what is to be measured",
                                    (folder_ / lossy).string()),
                        "record again as WAV or FLAC: a copy in another format does not bring it back");
        }
        return fail(FaultKind::untrusted_capture, fmt::format("no recording {}.wav or .flac", wanted),
                    almost.empty() ? "record the tone file of that name, or correct the recording's file name"
                                   : fmt::format("rename {}: upper and lower case differ", almost));
    }
    if (found.size() > 1) {
        // The order of a folder's entries is not the same everywhere.
        std::sort(found.begin(), found.end());
        return fail(
            FaultKind::untrusted_capture,
            fmt::format("two recordings of one test: {} and {}", found[0].string(), found[1].string()),
            "keep the right one in the folder");
    }
    return found.front();
}

Result<Recording> RecordingsDevice::play_and_record(const PlayRequest& request,
                                                    const std::atomic<bool>& stop) {
    if (stop) return fail(FaultKind::stopped, "stopped by hand");
    const auto source = find(request.capture_name);
    if (!source) return tl::unexpected(source.error());
    auto recording = open_recording(*source);
    if (!recording) return recording;
    const std::filesystem::path to =
        request.into / (request.capture_name + lower(source->extension().string()));
    std::error_code error;
    if (!std::filesystem::equivalent(*source, to, error)) {
        if (auto copied = copy_whole(*source, to); !copied) return tl::unexpected(copied.error());
    }
    recording->path = to;
    if (request.progress) request.progress(1.0);
    return recording;
}

}  // namespace assay::capture

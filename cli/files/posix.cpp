#include "cli/files/posix.h"

#include <fcntl.h>
#include <poll.h>
#include <spawn.h>
#include <sys/file.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <chrono>
#include <csignal>
#include <cstring>
#include <string>

#include "cli/files/plain_text.h"

namespace assay::cli {
namespace {

using capture::fail;
using capture::FaultKind;

/// An open file, closed when it goes.
struct Descriptor {
    int number = -1;

    explicit Descriptor(int opened = -1) : number(opened) {}
    Descriptor(Descriptor&& other) noexcept : number(other.number) { other.number = -1; }
    Descriptor& operator=(Descriptor&&) = delete;
    Descriptor(const Descriptor&) = delete;
    Descriptor& operator=(const Descriptor&) = delete;
    ~Descriptor() { close(); }
    void close() {
        if (number >= 0) ::close(number);
        number = -1;
    }
};

std::string quoted(const std::filesystem::path& path) {
    return '"' + visible_path(path) + '"';
}

tl::unexpected<capture::Fault> cannot_write(const std::filesystem::path& path, int error) {
    return fail(FaultKind::bad_arguments, quoted(path) + " cannot be written: " + std::strerror(error),
                "choose a folder that exists and may be written to, with space left");
}

}  // namespace

bool write_all(int file, std::string_view text) {
    while (!text.empty()) {
        const ssize_t written = ::write(file, text.data(), text.size());
        if (written < 0 && errno == EINTR) continue;
        if (written < 0) return false;
        text.remove_prefix(static_cast<std::size_t>(written));
    }
    return true;
}

capture::Result<FolderLock> FolderLock::take(const std::filesystem::path& folder) {
    const int opened = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (opened < 0) return cannot_write(folder, errno);
    FolderLock lock(opened);
    if (::flock(opened, LOCK_EX | LOCK_NB) == 0) return lock;
    // A file system without locks is no reason to refuse.
    if (errno != EWOULDBLOCK) return lock;
    return fail(FaultKind::bad_arguments, quoted(folder) + ": another run of assay is at work in it",
                "wait for its end, or choose another folder");
}

FolderLock::FolderLock(FolderLock&& other) noexcept : descriptor_(other.descriptor_) {
    other.descriptor_ = -1;
}

FolderLock::~FolderLock() {
    if (descriptor_ >= 0) ::close(descriptor_);
}

capture::Result<void> write_file_safely(const std::filesystem::path& path, std::string_view text) {
    std::filesystem::path temporary = path;
    temporary += "." + std::to_string(::getpid()) + ".part";
    {
        Descriptor file(::open(temporary.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0644));
        if (file.number < 0) return cannot_write(path, errno);
        if (!write_all(file.number, text) || ::fsync(file.number) != 0) {
            const int error = errno;
            ::unlink(temporary.c_str());
            return cannot_write(path, error);
        }
    }
    if (::rename(temporary.c_str(), path.c_str()) != 0) {
        const int error = errno;
        ::unlink(temporary.c_str());
        return cannot_write(path, error);
    }
    // The new name itself must be on the disk too. Some file systems do not let a folder be synced; that is
    // no reason to call the file unwritten.
    const std::filesystem::path parent = path.has_parent_path() ? path.parent_path() : ".";
    const Descriptor folder(::open(parent.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
    if (folder.number >= 0) (void)::fsync(folder.number);
    return {};
}

namespace {

struct Pipe {
    Descriptor read_end;
    Descriptor write_end;
};

capture::Result<Pipe> make_pipe() {
    std::array<int, 2> ends{};
    if (::pipe2(ends.data(), O_CLOEXEC) != 0) {
        return fail(FaultKind::internal, std::string("no pipe: ") + std::strerror(errno));
    }
    return Pipe{Descriptor(ends[0]), Descriptor(ends[1])};
}

/// The environment with the locale set to "C", so that numbers are written with a point.
std::vector<std::string> plain_environment() {
    std::vector<std::string> entries;
    for (char** entry = environ; entry != nullptr && *entry != nullptr; ++entry) {
        const std::string_view text(*entry);
        if (text.starts_with("LC_") || text.starts_with("LANG") || text.starts_with("GNUPLOT")) continue;
        entries.emplace_back(text);
    }
    entries.emplace_back("LC_ALL=C.UTF-8");
    return entries;
}

std::vector<char*> pointers_to(std::vector<std::string>& texts) {
    std::vector<char*> pointers;
    pointers.reserve(texts.size() + 1);
    for (std::string& text : texts) pointers.push_back(text.data());
    pointers.push_back(nullptr);
    return pointers;
}

void read_some(Descriptor& from, std::string& into) {
    std::array<char, 65536> buffer{};
    const ssize_t count = ::read(from.number, buffer.data(), buffer.size());
    if (count > 0) {
        into.append(buffer.data(), static_cast<std::size_t>(count));
    } else if (count == 0 || errno != EINTR) {
        from.close();
    }
}

/// Feeds and drains the pipes until the program closes them. False if the time is over.
bool exchange(Descriptor& in, std::string_view input, Descriptor& out, Descriptor& err, ProgramOutput& result,
              double seconds) {
    using Clock = std::chrono::steady_clock;
    const auto end =
        Clock::now() + std::chrono::duration_cast<Clock::duration>(std::chrono::duration<double>(seconds));
    // A pipe that is ready takes a page at least, not all that is handed to it: a write that waits for the
    // rest would wait for ever on a program that waits for us to read.
    ::fcntl(in.number, F_SETFL, ::fcntl(in.number, F_GETFL) | O_NONBLOCK);
    while (out.number >= 0 || err.number >= 0) {
        if (input.empty()) in.close();
        const auto left = std::chrono::duration_cast<std::chrono::milliseconds>(end - Clock::now()).count();
        if (left <= 0) return false;
        std::array<pollfd, 3> waits{pollfd{in.number, POLLOUT, 0}, pollfd{out.number, POLLIN, 0},
                                    pollfd{err.number, POLLIN, 0}};
        if (::poll(waits.data(), waits.size(), static_cast<int>(left)) < 0 && errno != EINTR) return false;
        if (waits[0].revents != 0) {
            const ssize_t written =
                ::write(in.number, input.data(), std::min<std::size_t>(input.size(), 65536));
            if (written > 0) {
                input.remove_prefix(static_cast<std::size_t>(written));
            } else if (written < 0 && errno != EINTR && errno != EAGAIN) {
                input = {};  // it does not listen any more
            }
        }
        if (waits[1].revents != 0) read_some(out, result.out);
        if (waits[2].revents != 0) read_some(err, result.err);
    }
    return true;
}

/// A program that ends early breaks the pipe to it; that must not end us.
struct IgnoreBrokenPipe {
    struct sigaction before {};
    IgnoreBrokenPipe() {
        struct sigaction ignore {};
        ignore.sa_handler = SIG_IGN;
        ::sigaction(SIGPIPE, &ignore, &before);
    }
    ~IgnoreBrokenPipe() { ::sigaction(SIGPIPE, &before, nullptr); }
    IgnoreBrokenPipe(const IgnoreBrokenPipe&) = delete;
    IgnoreBrokenPipe& operator=(const IgnoreBrokenPipe&) = delete;
};

}  // namespace

capture::Result<ProgramOutput> run_program(const std::vector<std::string>& arguments, std::string_view input,
                                           double seconds) {
    auto in = make_pipe();
    auto out = make_pipe();
    auto err = make_pipe();
    if (!in) return tl::unexpected(in.error());
    if (!out) return tl::unexpected(out.error());
    if (!err) return tl::unexpected(err.error());

    std::vector<std::string> texts = arguments;
    std::vector<std::string> environment = plain_environment();
    std::vector<char*> argument_pointers = pointers_to(texts);
    std::vector<char*> environment_pointers = pointers_to(environment);
    posix_spawn_file_actions_t actions;
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_adddup2(&actions, in->read_end.number, STDIN_FILENO);
    posix_spawn_file_actions_adddup2(&actions, out->write_end.number, STDOUT_FILENO);
    posix_spawn_file_actions_adddup2(&actions, err->write_end.number, STDERR_FILENO);
    const IgnoreBrokenPipe guard;
    pid_t child = 0;
    const int error = ::posix_spawnp(&child, argument_pointers.front(), &actions, nullptr,
                                     argument_pointers.data(), environment_pointers.data());
    posix_spawn_file_actions_destroy(&actions);
    if (error != 0) {
        return fail(error == ENOENT ? FaultKind::bad_input_file : FaultKind::internal,
                    arguments.front() + " cannot be run: " + std::strerror(error));
    }
    in->read_end.close();
    out->write_end.close();
    err->write_end.close();

    ProgramOutput result;
    const bool in_time = exchange(in->write_end, input, out->read_end, err->read_end, result, seconds);
    if (!in_time) ::kill(child, SIGKILL);
    int status = 0;
    while (::waitpid(child, &status, 0) < 0 && errno == EINTR) {
    }
    if (!in_time) return fail(FaultKind::internal, arguments.front() + " did not end in time");
    result.exit_status = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
    return result;
}

}  // namespace assay::cli

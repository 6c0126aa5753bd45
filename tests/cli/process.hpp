// SPDX-License-Identifier: MIT
// Child processes of the tests: started without a shell, ended by their own id.
#pragma once
#include <string>
#include <sys/types.h>
#include <vector>

struct Finished {
    int exit_code = -1; ///< 128 + signal when killed by one
    std::string out;
    std::string err;
};

class Process {
  public:
    /// folder: working directory; "" the test's own.
    Process(const std::string& program, const std::vector<std::string>& arguments,
            const std::string& folder = "");
    ~Process(); ///< kills it when it still runs
    Process(const Process&) = delete;
    Process& operator=(const Process&) = delete;

    /// Reads until the text appears in what it wrote so far (err or out); false when it ended
    /// first.
    bool wait_for(const std::string& text);
    void signal(int number);
    /// Waits for the end, reading on.
    Finished finish();

    [[nodiscard]] const std::string& out() const { return result_.out; }

  private:
    /// One round of reading; false when both streams have ended.
    bool pump();

    pid_t pid_ = -1;
    int out_fd_ = -1;
    int err_fd_ = -1;
    Finished result_;
    bool ended_ = false;
};

/// Starts, waits, returns.
Finished run_program(const std::string& program, const std::vector<std::string>& arguments,
                     const std::string& folder = "");
